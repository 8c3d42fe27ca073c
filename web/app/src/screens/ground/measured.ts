import { useEffect, useState } from "preact/hooks";
import type { Client } from "../../api/client";
import type { Farm } from "../../model/farm";
import type { Stored, SurroundingsKind } from "../../model/kinds";
import { useRecords } from "../../ui/hooks";

/** What a pass over a whole block without setbacks would be: the server's figures of the block as it stands. */
export interface GroundAnswer {
  readonly areas: { readonly planted_m2: number };
  readonly row_length_m: number;
  readonly distances: readonly { readonly to: string; readonly kind: SurroundingsKind; readonly m: number }[];
}

/** The figures of a block, asked for anew when its outline, its rows or its surroundings change; null while there are none. */
export function useGround(api: Client, farm: Farm, block: Stored<"blocks">): GroundAnswer | null {
  const rows = useRecords(farm, "rows").list;
  const near = useRecords(farm, "surroundings").list;
  const [answer, setAnswer] = useState<GroundAnswer | null>(null);
  useEffect(() => {
    const stop = new AbortController();
    api.treatedArea<GroundAnswer>({ blocks: [block.id], pattern: "broadcast" }, { signal: stop.signal }).then(
      setAnswer,
      // The block shows without them; the pass screen says what is wrong.
      () => setAnswer(null),
    );
    return () => stop.abort();
  }, [api, block.id, block.revision, rows, near]);
  return answer;
}

export interface NearLine {
  readonly id: string;
  readonly kind: SurroundingsKind;
  readonly name: string;
  readonly byEye: boolean;
  readonly m: number;
}

/** Surroundings with their distance from the block, nearest first. Roads and the farm's boundary are no neighbours to keep clear of and stand last. */
export function nearLines(answer: GroundAnswer | null, near: readonly Stored<"surroundings">[]): NearLine[] {
  const lines = (answer?.distances ?? []).map(({ to, kind, m }) => {
    const p = near.find((s) => s.id === to)?.feature.properties;
    return { id: to, kind, m, name: p?.name ?? "", byEye: p?.drawn_by_eye ?? false };
  });
  const last = (l: NearLine) => (l.kind === "road" || l.kind === "boundary" ? 1 : 0);
  return lines.sort((a, b) => last(a) - last(b) || a.m - b.m);
}
