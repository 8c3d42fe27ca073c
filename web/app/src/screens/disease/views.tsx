import type { ComponentType } from "preact";
import { useText } from "../../ui/hooks";
import type { PlaceProps } from "../place";
import { Crew } from "../removals/crew";
import { Decisions } from "../removals/decisions";
import { Regrowth } from "../removals/regrowth";
import { Sign } from "../removals/sign";
import "../removals/removals.css";
import { Again } from "./again";
import { NewSample } from "./newsample";
import { OneSample } from "./onesample";
import { Samples } from "./samples";

const views = ["groups", "samples", "again", "decisions", "regrowth"] as const;
type View = (typeof views)[number];

function viewOf(view: string | undefined): View {
  if (view?.startsWith("sample")) return "samples";
  if (view?.startsWith("decisions") || view?.startsWith("crew:")) return "decisions";
  return view === "again" || view === "regrowth" ? view : "groups";
}

/** The screen beside the groups that a view asks for; null: the groups themselves. */
export function besideGroups(view: string | undefined): ComponentType<PlaceProps> | null {
  if (view === "again") return Again;
  if (view === "sign") return Sign;
  if (view === "regrowth") return Regrowth;
  if (view?.startsWith("decisions")) return Decisions;
  if (view?.startsWith("crew:")) return Crew;
  if (view === "samples") return Samples;
  if (view?.startsWith("sample:new")) return NewSample;
  return view?.startsWith("sample:") ? OneSample : null;
}

/** The parts of Disease, one of them current. */
export function Views({ address, go }: Pick<PlaceProps, "address" | "go">) {
  const t = useText();
  const now = viewOf(address.view);
  return (
    <nav class="views" aria-label={t("samples-views")}>
      {views.map((v) => (
        <button key={v} type="button" aria-current={v === now ? "page" : undefined} onClick={() => go({ view: v === "groups" ? undefined : v })}>
          {t(`samples-view-${v}`)}
        </button>
      ))}
    </nav>
  );
}
