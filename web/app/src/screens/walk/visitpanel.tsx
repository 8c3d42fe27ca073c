import { useState } from "preact/hooks";
import { moment } from "../../i18n";
import type { Inspected, Stored } from "../../model/kinds";
import { feature } from "../../model/kinds";
import { uuid7 } from "../../model/uuid7";
import { Check, TextArea } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import type { PlaceProps } from "../place";
import { type DrawnRow, lastPlant } from "../../rowmap/rowplace";
import { positions, readStretches } from "./visit";

const badKeys = {
  shape: "walk-visit-bad-shape",
  row: "walk-visit-bad-row",
  plant: "walk-visit-bad-plant",
  order: "walk-visit-bad-order",
} as const;

/** Starts a visit of a block and closes it with what was looked at, finds or none. */
export function VisitPanel(props: {
  readonly farm: PlaceProps["farm"];
  readonly block: string;
  readonly rows: readonly DrawnRow[];
  readonly open: Stored<"visits"> | undefined;
  readonly finds: number;
}) {
  const t = useText();
  const { farm, block, rows, open } = props;
  const [closing, setClosing] = useState(false);
  const [whole, setWhole] = useState(false);
  const [text, setText] = useState("");
  const [fault, setFault] = useState<string>();
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  // One id per visit started here, so that pressing again after a lost answer does not start two.
  const [startId, setStartId] = useState(uuid7);

  const attempt = async (work: () => Promise<void>) => {
    setBusy(true);
    setProblem(null);
    try {
      await work();
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };

  const start = () =>
    attempt(async () => {
      const made = feature<"visits">(startId, null, { block, purpose: "scouting", started_at: new Date().toISOString() });
      await farm.keep("visits", made);
      setStartId(uuid7());
    });

  const read = readStretches(text, (row) => lastPlant(rows, row));
  const close = () => {
    if (!open) return;
    let inspected: Inspected[];
    if (whole) inspected = [{ rows: "all" }];
    else if (!read.ok) return setFault(t(badKeys[read.why], { word: read.word }));
    else if (read.stretches.length === 0) return setFault(t("walk-visit-rows-empty"));
    else inspected = [...read.stretches];
    setFault(undefined);
    return attempt(async () => {
      const before = open.feature;
      const properties = { ...before.properties, ended_at: new Date().toISOString(), inspected };
      await farm.keep("visits", { ...before, properties }, open);
      setClosing(false);
      setText("");
      setWhole(false);
      say(t("walk-visit-closed"));
    });
  };

  return (
    <section class="visit">
      <h2>{t("walk-visit")}</h2>
      {!open && (
        <button type="button" class="big" disabled={busy} onClick={() => void start()}>
          {t("walk-visit-start")}
        </button>
      )}
      {open && (
        <p>
          {t("walk-visit-open", { time: clock(open.feature.properties.started_at, farm.info.zone) })}.{" "}
          {t("walk-visit-finds", { n: props.finds })}.
        </p>
      )}
      {open && !closing && (
        <button type="button" class="big" onClick={() => setClosing(true)}>
          {t("walk-visit-close")}
        </button>
      )}
      {open && closing && (
        <div class="visit-close">
          <p class="hint">{t("walk-visit-why")}</p>
          <Check label={t("walk-visit-whole")} checked={whole} onChecked={setWhole} />
          {!whole && (
            <>
              <TextArea label={t("walk-visit-rows")} hint={t("walk-visit-rows-how")} rows={2} value={text} onValue={setText} fault={fault} />
              {read.ok && read.stretches.length > 0 && (
                <p>{t("walk-visit-positions", { n: positions(read.stretches) })}</p>
              )}
            </>
          )}
          <button type="button" class="big" disabled={busy} onClick={() => void close()}>
            {props.finds === 0 ? t("walk-visit-save-zero") : t("walk-visit-save", { n: props.finds })}
          </button>
          <button type="button" class="big plain" onClick={() => setClosing(false)}>
            {t("core-cancel")}
          </button>
        </div>
      )}
      {problem !== null && <ProblemNote problem={problem} />}
    </section>
  );
}

/** Hours and minutes of an instant on the farm's clock. */
export function clock(instant: string, zone: string): string {
  return moment(instant, zone).split(", ").pop() ?? "";
}
