import type { ComponentType } from "preact";
import type { Client } from "../api/client";
import type { FarmFigures } from "../api/figures";
import type { FarmMap } from "../map/farmmap";
import type { Address, PlaceName } from "../model/address";
import type { Farm } from "../model/farm";
import type { SheetHeight } from "../ui/sheet";

/**
 * What a place gets. Its component is what stands in the sheet: start with a
 * heading (<h1>) that asks the place's one question. Everything else comes by
 * the props:
 *
 * - `farm`: who, which farm, and its records as signals (useRecords in ui/hooks
 *   listens to them); put() and remove() go through it, so that lists and map
 *   stay whole.
 * - `api`: the server, for what is no record (treatedArea, hotSpots, layout,
 *   reports).
 * - `figures`: what the server measured on each block, by id; `figures.now` is a
 *   signal, fetched anew by the frame after blocks or rows change.
 * - `map`: overlays, modes and picks; see map/farmmap.ts. Everything a place
 *   puts on the map it takes off when it leaves (return from useEffect). The
 *   frame draws blocks, rows and surroundings itself, and finds in Walk, Disease
 *   and Papers. Tools of a drawing mode stand in <MapBar> (ui/mapbar.tsx).
 * - `go`: changes the address. Each change is a step that Back undoes; give
 *   `{ replace: true }` while typing. Undefined clears a part.
 * - `address`: block, season and view as they stand in the address. `view` is the
 *   place's own: "find:0190…", "new", what it likes; letters of an address only.
 *
 * The main action of a screen is <MainAction> (ui/action.tsx): a 72 px bar at
 * the bottom on a phone, a button at the foot of the sheet on a laptop.
 */
export interface PlaceProps {
  readonly farm: Farm;
  readonly api: Client;
  readonly figures: FarmFigures;
  readonly map: FarmMap;
  readonly address: Address;
  readonly go: Go;
}

export type Go = (change: Partial<Omit<Address, "farm">>, how?: { replace?: boolean }) => void;

export interface Place {
  readonly name: PlaceName;
  readonly Sheet: ComponentType<PlaceProps>;
  /** How much of a phone's screen its sheet takes at first; half where it is not said. */
  readonly opens?: SheetHeight;
  /** Drawn before the map is here (map/nomap.ts): all it does with the map hangs on the map it is given. */
  readonly early?: boolean;
}
