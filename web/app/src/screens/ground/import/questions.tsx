import { useEffect, useId, useState } from "preact/hooks";
import { type Answer, type Answers, type Question, type Topic, topics } from "../../../api/imports";
import type { Geometry } from "../../../geo/position";
import { t } from "../../../i18n";
import type { FarmMap } from "../../../map/farmmap";
import { TextField } from "../../../ui/form";
import { useText, useUnits } from "../../../ui/hooks";
import { area } from "../../../units";
import type { ReadAgain } from "./columns";
import { SaidList } from "./said";

/** Topics that are answered here; those of columns have a table of their own. */
export type Answerable = Exclude<Topic, "columns">;

/** The topics a proposal asks about, each once, with everything said about it. */
export function byTopic(questions: readonly Question[]): ReadonlyMap<Topic | "other", readonly Question[]> {
  const out = new Map<Topic | "other", Question[]>();
  for (const q of questions) {
    const topic = topics.find((t) => t === q.topic) ?? "other";
    out.set(topic, [...(out.get(topic) ?? []), q]);
  }
  return out;
}

/** The answer to a topic as the server takes it. */
export function answerTo(topic: Answerable, value: string): Answers {
  switch (topic) {
    case "system":
      return { system: value };
    case "day-order":
      return { day_order: value };
    case "zone":
      return { zone: value };
    case "axes":
      return { swap: value === "true" || value === "swap" };
  }
}

/** "32615" and "epsg: 32615" are EPSG:32615; null is no code. */
export function epsg(text: string): string | null {
  const m = /^\s*(?:epsg\s*:+\s*)?(\d{1,6})\s*$/i.exec(text);
  return m ? `EPSG:${Number(m[1])}` : null;
}

const other = "other";

/** One question: its answers as radio buttons. A coordinate system shows on the map where it puts the file before anything is read again. */
export function OneQuestion({ topic, said, map, again }: { topic: Answerable; said: readonly Question[]; map: FarmMap; again: ReadAgain }) {
  useText();
  useUnits();
  const group = useId();
  const [value, setValue] = useState("");
  const [code, setCode] = useState("");
  const answers = said.flatMap((q) => q.choices ?? []).filter((a, i, all) => all.findIndex((b) => b.value === a.value) === i);
  const chosen = answers.find((a) => a.value === value);
  const typed = topic === "system" && (value === other || answers.length === 0);
  const answer = typed ? epsg(code) : (chosen?.value ?? null);
  useCandidate(map, chosen);
  return (
    <form
      class="question"
      onSubmit={(e) => {
        e.preventDefault();
        if (answer) again(answerTo(topic, answer));
      }}
    >
      <fieldset>
        <legend>{t(`imports-question-${topic}`)}</legend>
        <SaidList items={said.map((q) => ({ said: q, mark: null }))} map={map} />
        {answers.map((a) => (
          <Radio key={a.value} group={group} checked={a.value === value} onCheck={() => setValue(a.value)} label={a.text} hint={about(a)} />
        ))}
        {topic === "system" && answers.length > 0 && <Radio group={group} checked={value === other} onCheck={() => setValue(other)} label={t("imports-system-code")} />}
        {typed && (
          <TextField
            id="import-system-code"
            label={t("imports-system-code-field")}
            hint={t("imports-system-code-hint")}
            fault={code.trim() && !epsg(code) ? t("imports-system-code-fault") : undefined}
            value={code}
            onValue={setCode}
          />
        )}
        {chosen && placeOf(chosen) && (
          <p class="map-word">
            <span class="swatch swatch-candidate" aria-hidden="true" /> {t("imports-legend-candidate")}
          </p>
        )}
        <div class="buttons">
          <button type="submit" disabled={!answer} aria-describedby={answer ? undefined : `${group}-first`}>
            {t("imports-apply")}
          </button>
          {!answer && (
            <p class="hint" id={`${group}-first`}>
              {t("imports-choose-first")}
            </p>
          )}
        </div>
      </fieldset>
    </form>
  );
}

function about(a: Answer): string | undefined {
  const centre = a.centre && t("imports-system-at", { place: a.centre.slice(0, 2).map((v) => v.toFixed(4)).join(", ") });
  const ground = a.area_m2 !== undefined && t("imports-system-area", { area: area(a.area_m2) });
  return [centre, ground].filter(Boolean).join("; ") || undefined;
}

/** Where an answer would put the file: its shape, or only its middle. */
function placeOf(a: Answer): Geometry | null {
  return a.shape ?? (a.centre ? { type: "Point", coordinates: a.centre } : null);
}

function useCandidate(map: FarmMap, chosen: Answer | undefined): void {
  useEffect(() => {
    const geometry = chosen && placeOf(chosen);
    if (!geometry) return;
    map.setOverlay("import-candidate", [{ geometry, label: chosen.text }], "candidate");
    map.fit([geometry]);
    return () => map.setOverlay("import-candidate", null);
  }, [map, chosen]);
}

/** One radio button with its label and a line about it. */
export function Radio(props: { group: string; label: string; checked: boolean; onCheck: () => void; hint?: string | undefined }) {
  const id = useId();
  return (
    <div class="check">
      <input id={id} type="radio" name={props.group} checked={props.checked} aria-describedby={props.hint ? `${id}-hint` : undefined} onChange={props.onCheck} />
      <label for={id}>{props.label}</label>
      {props.hint && (
        <p class="hint" id={`${id}-hint`}>
          {props.hint}
        </p>
      )}
    </div>
  );
}
