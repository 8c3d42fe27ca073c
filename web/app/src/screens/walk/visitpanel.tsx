import { useEffect, useState } from "preact/hooks";
import type { Client } from "../../api/client";
import type { Farm } from "../../model/farm";
import type { VisitProperties } from "../../model/kinds";
import { type DrawnRow, lastPlant, type Stretch } from "../../rowmap/rowplace";
import { MainAction } from "../../ui/action";
import { Check, TextArea } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import type { Recording } from "../ground/round/recording";
import { type Effort, closed, effortOf, inspectedOf, isPaused, paused } from "./effort";
import { Summary } from "./summary";
import { allCounts, forgetTallies } from "./tally";
import { dropTrack, trackOf } from "./track";
import { mergeStretches, positions, readStretches, writeStretches } from "./visit";
import type { Visiting } from "./visiting";
import { RowGrid } from "./rowgrid";
import { WalkedRows } from "./walkedrows";

const badKeys = {
  shape: "walk-visit-bad-shape",
  row: "walk-visit-bad-row",
  plant: "walk-visit-bad-plant",
  order: "walk-visit-bad-order",
} as const;

/** What a visit looked at, and its end: finds or none. */
export function VisitPanel(props: {
  readonly farm: Farm;
  readonly api: Client;
  readonly rows: readonly DrawnRow[];
  readonly visit: Visiting;
  readonly walked: Recording | null;
  readonly gps: boolean;
  readonly onGps: (on: boolean) => void;
}) {
  const { visit, farm, api, rows } = props;
  if (visit.mine) return <Open key={visit.mine.id} {...props} />;
  return visit.closed ? <Summary farm={farm} api={api} visit={visit.closed} rows={rows} /> : null;
}

function Open({ farm, api, rows, visit, walked, gps, onGps }: Parameters<typeof VisitPanel>[0]) {
  const t = useText();
  const mine = visit.mine!;
  const before = mine.feature.properties;
  const last = (row: number) => lastPlant(rows, row);
  const recorded = JSON.stringify(before.inspected ?? []);
  const [effort, setEffort] = useState<Effort>(() => effortOf(before.inspected, last));
  // Rows come a moment after the visit, and another phone may have been on it.
  useEffect(() => setEffort(effortOf(before.inspected, last)), [recorded, rows]);
  const [fault, setFault] = useState<string>();
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const finds = useRecords(farm, "finds").list.filter((f) => f.feature.properties.visit === mine.id).length;
  const read = readStretches(effort.text, last);
  const stretches = read.ok ? read.stretches : [];

  const amend = (change: (p: VisitProperties) => VisitProperties, track?: Parameters<Visiting["amend"]>[1]) => visit.amend(change, track).catch(setProblem);
  // Each tap stands in the record at once: the phone may fall into the next puddle.
  const enter = (next: Effort) => {
    setEffort(next);
    setFault(undefined);
    const inspected = inspectedOf(next, last);
    if (inspected) void amend((p) => ({ ...p, inspected }));
  };
  const enterStretches = (next: readonly Stretch[]) => enter({ whole: false, text: writeStretches(next, last) });

  const pause = () => amend((p) => paused(p, Date.now()), trackOf(mine.feature.geometry, walked) ?? undefined).then(() => dropTrack(farm.id, mine.id));

  const close = async () => {
    const inspected = inspectedOf(effort, last);
    if (!inspected) return setFault(read.ok ? undefined : t(badKeys[read.why], { word: read.word }));
    if (inspected.length === 0) return setFault(t("walk-visit-rows-empty"));
    setFault(undefined);
    setProblem(null);
    setBusy(true);
    try {
      await visit.amend((p) => ({ ...closed(p, Date.now()), inspected, ...allCounts(farm.id, mine.id, p.counts) }), trackOf(mine.feature.geometry, walked) ?? undefined);
      forgetTallies(farm.id, mine.id);
      dropTrack(farm.id, mine.id);
      say(t("walk-visit-closed"));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };

  return (
    <section class="visit">
      <p class="hint">{t("walk-visit-why")}</p>
      <Check label={t("walk-visit-whole")} checked={effort.whole} onChecked={(whole) => enter({ ...effort, whole })} />
      {!effort.whole && (
        <>
          <RowGrid rows={rows} stretches={stretches} onStretches={enterStretches} />
          <TextArea
            label={t("walk-visit-rows")}
            hint={t("walk-visit-rows-how")}
            rows={2}
            value={effort.text}
            onValue={(text) => setEffort({ whole: false, text })}
            fault={fault}
          />
          {read.ok && read.stretches.length > 0 && <p>{t("walk-visit-positions", { n: positions(read.stretches) })}</p>}
        </>
      )}
      <WalkedRows
        api={api}
        visit={mine.id}
        before={mine.feature.geometry}
        walked={walked}
        gps={gps}
        onGps={onGps}
        onTake={(more) => enterStretches(mergeStretches([...stretches, ...more]))}
      />
      <Summary farm={farm} api={api} visit={mine} rows={rows} effort={effort} />
      {problem !== null && <ProblemNote problem={problem} />}
      {!isPaused(before) && (
        <div class="buttons">
          <button type="button" class="big" onClick={() => void pause()}>
            {t("walk-visit-pause")}
          </button>
        </div>
      )}
      <MainAction label={finds === 0 ? t("walk-visit-save-zero") : t("walk-visit-save", { n: finds })} run={() => void close()} busy={busy} />
    </section>
  );
}
