import { useCallback, useRef, useState } from "preact/hooks";
import type { Farm } from "../../model/farm";
import type { GeometryOf, Stored, VisitProperties } from "../../model/kinds";
import { feature } from "../../model/kinds";
import { uuid7 } from "../../model/uuid7";
import { useRecords } from "../../ui/hooks";

/** The visit this phone is on in a block, and the others that stand open there. */
export interface Visiting {
  readonly mine: Stored<"visits"> | undefined;
  /** Begun elsewhere and not closed, the newest first. */
  readonly others: readonly Stored<"visits">[];
  /** The newest closed one that this phone was on since the page was opened. */
  readonly closed: Stored<"visits"> | undefined;
  /** Begins one; `more` is what it brings along. */
  start(more?: Pick<VisitProperties, "planned_stops">): Promise<void>;
  /** This phone goes on with a visit another one began. */
  join(visit: Stored<"visits">): void;
  /** Changes the visit as it stands then; changes follow one another. */
  amend(change: (p: VisitProperties) => VisitProperties, track?: GeometryOf["visits"]): Promise<void>;
}

export function useVisit(farm: Farm, block: string): Visiting {
  const list = useRecords(farm, "visits").list;
  const key = `caneward.walk.visit.${farm.who.person.id}.${farm.id}.${block}`;
  const [joined, setJoined] = useState(() => localStorage.getItem(key));
  const open = list
    .filter((v) => v.feature.properties.block === block && !v.feature.properties.ended_at)
    .sort((a, b) => b.feature.properties.started_at.localeCompare(a.feature.properties.started_at));
  const mine = open.find((v) => v.id === joined);
  const closed = mine ? undefined : list.find((v) => v.id === joined && v.feature.properties.ended_at);

  const join = useCallback(
    (id: string) => {
      try {
        localStorage.setItem(key, id);
      } catch {
        // A private window: it is joined as long as the page stands.
      }
      setJoined(id);
    },
    [key],
  );
  // One id per visit started here, so that pressing again after a lost answer does not start two.
  const next = useRef(uuid7());
  const start = useCallback<Visiting["start"]>(async (more) => {
    const id = next.current;
    await farm.keep("visits", feature<"visits">(id, null, { block, purpose: "scouting", started_at: new Date().toISOString(), state: "open", ...more }));
    next.current = uuid7();
    join(id);
  }, [farm, block, join]);

  const queue = useRef(Promise.resolve());
  const id = mine?.id;
  const amend = useCallback<Visiting["amend"]>(
    (change, track) => {
      const work = queue.current.then(async () => {
        const now = farm.find("visits", id);
        if (!now) return;
        const properties = change(now.feature.properties);
        await farm.keep("visits", { ...now.feature, geometry: track ?? now.feature.geometry, properties }, now);
      });
      queue.current = work.catch(() => undefined);
      return work;
    },
    [farm, id],
  );
  return { mine, others: open.filter((v) => v.id !== mine?.id), closed, start, join: (v) => join(v.id), amend };
}
