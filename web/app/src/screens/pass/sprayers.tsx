import { useEffect, useState } from "preact/hooks";
import { asProblem } from "../../api/problem";
import { day, language, number } from "../../i18n";
import { MainAction } from "../../ui/action";
import { Choice, TextField } from "../../ui/form";
import { useSignal, useText } from "../../ui/hooks";
import { faultOf, Mark, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { typedNumber } from "../../units/typed";
import type { PlaceProps } from "../place";
import { dropletClasses } from "./label";

export const methods = ["airblast", "boom", "hand", "drench", "wick", "granules", "mist", "aerial"] as const;
const sums = ["gpa_5940", "gpa_ozmin", "gpa_caught", "gpa_refill", "lpha_600"] as const;
type Sum = (typeof sums)[number];
const inputsOf: Readonly<Record<Sum, readonly string[]>> = {
  gpa_5940: ["gpm", "mph", "width_in"],
  gpa_ozmin: ["oz_per_min", "mph", "width_in"],
  gpa_caught: ["oz", "length_ft", "width_in"],
  gpa_refill: ["gallons", "length_ft", "swath_ft"],
  lpha_600: ["l_per_min", "kmh", "width_m"],
};

interface Calibration {
  readonly on: string;
  readonly with: Sum;
  readonly inputs: Readonly<Record<string, number>>;
  readonly nozzles?: readonly number[];
}

export interface Sprayer {
  readonly id: string;
  readonly name: string;
  readonly method: string;
  readonly droplets?: string;
  readonly height_m?: number;
  readonly calibrations?: readonly Calibration[];
}

export interface SprayersAnswer {
  readonly document: { readonly sprayers?: readonly Sprayer[] };
  readonly etag: string;
  readonly worked: readonly {
    readonly id: string;
    readonly calibrations: readonly { readonly on: string; readonly output?: { readonly value: number; readonly unit: string; readonly formula: string; readonly how: string }; readonly nozzles?: { readonly off: readonly number[]; readonly percent: number } }[];
  }[];
}

interface Typed {
  readonly name: string;
  readonly method: string;
  readonly droplets: string;
  readonly height: string;
}

const heightUnits = 0.3048;

/** The farm's sprayers: machines and their calibrations, worked out by the server. */
export function Sprayers({ farm, api }: PlaceProps) {
  const t = useText();
  const spoken = useSignal(language);
  const [now, setNow] = useState<SprayersAnswer | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const load = () => {
    setProblem(null);
    api.sprayers<SprayersAnswer>().then(setNow, setProblem);
  };
  useEffect(load, [api, spoken]);
  const may = farm.info.role === "owner" || farm.info.role === "applicator";
  const list = now?.document.sprayers ?? [];
  const put = async (sprayers: readonly Sprayer[]) => {
    setBusy(true);
    setProblem(null);
    try {
      setNow(await api.putSprayers<SprayersAnswer>({ sprayers }, now?.etag ?? ""));
      say(t("sprayer-saved"));
      return true;
    } catch (thrown) {
      setProblem(thrown);
      return false;
    } finally {
      setBusy(false);
    }
  };
  return (
    <>
      <h2>{t("sprayer-title")}</h2>
      <p class="hint">{t("sprayer-hint")}</p>
      {problem !== null && <ProblemNote problem={problem} onRetry={now ? undefined : load} />}
      {now && list.length === 0 && <p>{t("sprayer-none")}</p>}
      {list.map((s, i) => (
        <section key={s.id}>
          <h3>{s.name}</h3>
          <p>
            {t(`sprayer-method-${s.method}` as "sprayer-method-boom")}
            {s.droplets && `, ${t("sprayer-droplets-of", { class: t(`label-choice-droplets-finest-${s.droplets}` as "label-choice-droplets-finest-fine") })}`}
          </p>
          <ul>
            {(now?.worked.find((w) => w.id === s.id)?.calibrations ?? []).map((c, k) => (
              <li key={k}>
                {t("sprayer-calibrated", { on: day(c.on), output: c.output ? `${number(c.output.value, 2)} ${c.output.unit}` : "–" })}
                {c.output && <span class="soft"> {c.output.formula}</span>}{" "}
                {c.nozzles && (c.nozzles.off.length > 0 ? <Mark answer="caution">{t("sprayer-worn", { n: c.nozzles.off.length, numbers: c.nozzles.off.join(", "), percent: c.nozzles.percent })}</Mark> : <Mark answer="ok">{t("sprayer-even", { percent: c.nozzles.percent })}</Mark>)}
              </li>
            ))}
          </ul>
          {may && <Calibrate busy={busy} problem={problem} index={i} nth={(s.calibrations ?? []).length} onAdd={(c) => put(list.with(i, { ...s, calibrations: [...(s.calibrations ?? []), c] }))} />}
        </section>
      ))}
      {may && now ? <NewSprayer busy={busy} taken={list.map((s) => s.id)} onAdd={(s) => put([...list, s])} /> : <p class="hint">{t("sprayer-not-yours")}</p>}
    </>
  );
}

function NewSprayer({ busy, taken, onAdd }: { busy: boolean; taken: readonly string[]; onAdd: (s: Sprayer) => Promise<boolean> }) {
  const t = useText();
  const [form, setForm] = useState<Typed>({ name: "", method: "", droplets: "", height: "" });
  const [missing, setMissing] = useState(false);
  const add = async () => {
    const height = typedNumber(form.height);
    if (!form.name.trim() || !form.method || (form.height.trim() && !(height >= 0))) return setMissing(true);
    setMissing(false);
    const plain = form.name.trim().toLowerCase().normalize("NFD").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 32) || "sprayer";
    const id = taken.includes(plain) ? `${plain}-${taken.length + 1}` : plain;
    const done = await onAdd({ id, name: form.name.trim(), method: form.method, ...(form.droplets ? { droplets: form.droplets } : {}), ...(form.height.trim() ? { height_m: height * heightUnits } : {}) });
    if (done) setForm({ name: "", method: "", droplets: "", height: "" });
  };
  return (
    <>
      <h3>{t("sprayer-new")}</h3>
      <TextField label={t("sprayer-name")} value={form.name} fault={missing && !form.name.trim() ? t("pass-fault-name") : undefined} onValue={(name) => setForm({ ...form, name })} />
      <MethodFields form={form} fault={missing && !form.method ? t("sprayer-method-missing") : undefined} onForm={(part) => setForm({ ...form, ...part })} />
      <MainAction label={t("sprayer-add")} run={() => void add()} busy={busy} />
    </>
  );
}

/** How spray leaves the machine: what the exclusion zone hangs on. */
export function MethodFields({ form, fault, onForm }: { form: { readonly method: string; readonly droplets: string; readonly height: string }; fault: string | undefined; onForm: (part: Partial<Typed>) => void }) {
  const t = useText();
  return (
    <>
      <Choice label={t("sprayer-method")} empty={t("label-not-given")} value={form.method} fault={fault} choices={methods.map((m) => ({ value: m as string, label: t(`sprayer-method-${m}`) }))} onValue={(method) => onForm({ method })} />
      <Choice label={t("sprayer-droplets")} hint={t("sprayer-droplets-hint")} empty={t("label-not-given")} value={form.droplets} choices={dropletClasses.map((d) => ({ value: d as string, label: t(`label-choice-droplets-finest-${d}`) }))} onValue={(droplets) => onForm({ droplets })} />
      <TextField label={t("sprayer-height")} unit="ft" inputMode="decimal" optional value={form.height} onValue={(height) => onForm({ height })} />
    </>
  );
}

function Calibrate({ busy, problem, index, nth, onAdd }: { busy: boolean; problem: unknown; index: number; nth: number; onAdd: (c: Calibration) => Promise<boolean> }) {
  const t = useText();
  const [open, setOpen] = useState(false);
  const [on, setOn] = useState("");
  const [sum, setSum] = useState<Sum>("gpa_5940");
  const [typed, setTyped] = useState<Readonly<Record<string, string>>>({});
  const [nozzles, setNozzles] = useState("");
  if (!open)
    return (
      <button type="button" onClick={() => setOpen(true)}>
        {t("sprayer-calibrate")}
      </button>
    );
  const faults = problem ? asProblem(problem) : null;
  const at = `sprayers[${index}].calibrations[${nth}]`;
  const add = async () => {
    const caught = nozzles.split(/[;,\s]+/).filter(Boolean).map(typedNumber);
    const inputs = Object.fromEntries(inputsOf[sum].flatMap((key) => (typed[key]?.trim() ? [[key, typedNumber(typed[key]!)]] : [])));
    if (await onAdd({ on, with: sum, inputs, ...(caught.length > 0 ? { nozzles: caught } : {}) })) setOpen(false);
  };
  return (
    <fieldset>
      <legend>{t("sprayer-calibration")}</legend>
      <TextField label={t("sprayer-on")} type="date" value={on} fault={faultOf(faults, `${at}.on`)} onValue={setOn} />
      <Choice label={t("sprayer-with")} value={sum} choices={sums.map((s) => ({ value: s, label: t(`sprayer-with-${s}`) }))} onValue={setSum} />
      {inputsOf[sum].map((key) => (
        <TextField key={key} label={t(`sprayer-in-${key}` as "sprayer-in-gpm")} inputMode="decimal" value={typed[key] ?? ""} fault={faultOf(faults, `${at}.inputs.${key}`)} onValue={(v) => setTyped({ ...typed, [key]: v })} />
      ))}
      <TextField label={t("sprayer-nozzles")} hint={t("sprayer-nozzles-hint")} optional value={nozzles} fault={faultOf(faults, `${at}.nozzles`)} onValue={setNozzles} />
      <div class="buttons">
        <button type="button" disabled={busy} onClick={() => void add()}>
          {t("sprayer-calibration-save")}
        </button>
        <button type="button" onClick={() => setOpen(false)}>
          {t("core-cancel")}
        </button>
      </div>
    </fieldset>
  );
}
