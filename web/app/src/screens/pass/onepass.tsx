import { useState } from "preact/hooks";
import { asProblem } from "../../api/problem";
import { moment, number } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { MainAction } from "../../ui/action";
import { Choice, TextField } from "../../ui/form";
import { useText, useUnits } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { amount, bearing, units } from "../../units";
import type { PlaceProps } from "../place";
import { PassRecord } from "../mayi/passrecord";
import { measured } from "./answer";
import { applied, differs, type ApplyFaults, type ApplyField, type ApplyForm } from "./apply";
import { metresPerSecond } from "./draft";
import { SpeedField } from "./planner";
import { Cautions, Figures, type Named, productName, useGround } from "./result";
import { passMoment, saved, workedOf } from "./saved";
import { wallTime } from "./zoned";

/** One saved pass: its frozen figures, and the way to say it was applied. */
export function OnePass(props: PlaceProps & { readonly pass: Stored<"passes">; readonly named: Named }) {
  const t = useText();
  useUnits();
  const { farm, map, go, pass, named } = props;
  const p = saved(pass);
  const worked = workedOf(pass);
  useGround(map, worked);
  const zone = farm.info.zone;
  const may = mayWrite(farm.info.role, "passes");
  const day = moment(passMoment(p), zone);
  return (
    <>
      <button type="button" class="link" onClick={() => go({ view: undefined })}>
        {t("pass-back")}
      </button>
      <h2>
        {t("pass-one", { date: day })}: {t(`pass-state-${p.state}`)}
      </h2>
      <p>{t(`pass-pattern-${p.pattern ?? "broadcast"}` as "pass-pattern-band")}. {blockNames(p, named)}.</p>
      {p.state === "applied" && <Done pass={pass} zone={zone} />}
      <p class="hint">{t("pass-frozen")}</p>
      <Figures map={map} worked={worked} rates={(p.products ?? []).map((l) => l.rate)} tank={p.tank} named={named} date={p.worked_at ? moment(p.worked_at, zone) : ""} zone={zone} />
      {p.state !== "applied" && (may ? <Apply key={pass.id} {...props} /> : <p class="hint">{t("pass-not-yours")}</p>)}
      <PassRecord {...props} />
      <Cautions />
    </>
  );
}

export function blockNames(p: { readonly blocks?: readonly string[] }, named: Named): string {
  return (p.blocks ?? []).map((id) => named.blocks.find((b) => b.id === id)?.feature.properties.name ?? id).join(", ");
}

function Done({ pass, zone }: { pass: Stored<"passes">; zone: string }) {
  const t = useText();
  const p = saved(pass);
  const us = units.get() === "us";
  const w = p.weather ?? {};
  const speed = w.wind_speed_m_s === undefined ? t("core-not-said") : us ? `${number(w.wind_speed_m_s / metresPerSecond.mph, 1)} mph` : `${number(w.wind_speed_m_s / metresPerSecond["km/h"], 1)} km/h`;
  const temperature = w.temperature_c === undefined ? t("core-not-said") : us ? `${number((w.temperature_c * 9) / 5 + 32, 0)} °F` : `${number(w.temperature_c, 0)} °C`;
  return (
    <dl class="figures">
      <dt>{t("pass-apply-start")}</dt>
      <dd>{moment(p.started_at ?? "", zone)}</dd>
      <dt>{t("pass-apply-end")}</dt>
      <dd>{moment(p.ended_at ?? "", zone)}</dd>
      <dt>{t("pass-apply-who")}</dt>
      <dd>{p.people?.applicator ?? t("core-not-said")}</dd>
      <dt>{t("pass-apply-certificate")}</dt>
      <dd>{p.people?.certification ?? t("core-not-said")}</dd>
      <dt>{t("pass-apply-weather")}</dt>
      <dd>{t("pass-weather", { speed, from: w.wind_from_deg === undefined ? t("core-not-said") : bearing(w.wind_from_deg), temperature })}</dd>
    </dl>
  );
}

function Apply({ farm, api, pass, named }: PlaceProps & { pass: Stored<"passes">; named: Named }) {
  const t = useText();
  const p = saved(pass);
  const zone = farm.info.zone;
  const us = units.get() === "us";
  const totals = p.totals ?? [];
  const [open, setOpen] = useState(false);
  const [form, setForm] = useState<ApplyForm>(() => ({
    start: p.start ? wallTime(p.start, zone) : "",
    end: "",
    windFrom: "",
    wind: { text: "", unit: us ? "mph" : "km/h" },
    temperature: { text: "", unit: us ? "F" : "C" },
    humidity: "",
    applicator: farm.who.person.display,
    certification: "",
    equipment: "",
    target: "",
    difference: "",
    used: totals.map((total) => String(measured(total.amount).value)),
  }));
  const [faults, setFaults] = useState<ApplyFaults>({});
  const [problem, setProblem] = useState<unknown>(null);
  const [said, setSaid] = useState("");
  const [busy, setBusy] = useState(false);
  const set = (part: Partial<ApplyForm>) => setForm((f) => ({ ...f, ...part }));
  const fault = (field: ApplyField) => {
    const f = faults[field];
    if (!f) return undefined;
    return f === "needed" ? t("pass-apply-needed") : f === "order" ? t("pass-apply-order") : f === "time" ? t("pass-fault-time") : t("pass-apply-number");
  };

  const save = async () => {
    const got = applied(pass, form, zone);
    setFaults(got.ok ? {} : got.faults);
    setProblem(null);
    setSaid("");
    if (!got.ok) return;
    setBusy(true);
    try {
      await farm.put("passes", { ...pass.feature, properties: got.properties }, pass);
      say(t("pass-applied"));
    } catch (thrown) {
      if (asProblem(thrown).stale) {
        farm.know(await api.get("passes", pass.id));
        setSaid(t("pass-stale"));
      } else {
        setProblem(thrown);
      }
    } finally {
      setBusy(false);
    }
  };

  if (!open) {
    return (
      <button type="button" onClick={() => setOpen(true)}>
        {t("pass-apply")}
      </button>
    );
  }
  return (
    <section>
      <h2>{t("pass-apply")}</h2>
      <p class="hint">{t("pass-apply-why")}</p>
      <TextField label={t("pass-apply-start")} hint={t("pass-start-hint", { zone })} type="datetime-local" value={form.start} fault={fault("start")} onValue={(start) => set({ start })} />
      <TextField label={t("pass-apply-end")} type="datetime-local" value={form.end} fault={fault("end")} onValue={(end) => set({ end })} />
      <TextField label={t("pass-apply-who")} value={form.applicator} fault={fault("applicator")} onValue={(applicator) => set({ applicator })} />
      <TextField label={t("pass-apply-certificate")} optional value={form.certification} onValue={(certification) => set({ certification })} />
      <TextField label={t("pass-wind-from")} hint={t("pass-wind-from-hint")} inputMode="decimal" optional value={form.windFrom} fault={fault("windFrom")} onValue={(windFrom) => set({ windFrom })} />
      <SpeedField label={t("pass-wind-speed")} field="applied.wind" value={form.wind} fault={fault("wind")} onValue={(wind) => set({ wind })} />
      <div class="pair">
        <TextField label={t("pass-apply-temperature")} inputMode="decimal" optional value={form.temperature.text} fault={fault("temperature")} onValue={(text) => set({ temperature: { ...form.temperature, text } })} />
        <Choice
          label={t("pass-unit", { what: t("pass-apply-temperature").toLowerCase() })}
          value={form.temperature.unit}
          choices={[
            { value: "F", label: "°F" },
            { value: "C", label: "°C" },
          ]}
          onValue={(unit) => set({ temperature: { ...form.temperature, unit } })}
        />
      </div>
      <TextField label={t("pass-apply-humidity")} inputMode="decimal" optional value={form.humidity} fault={fault("humidity")} onValue={(humidity) => set({ humidity })} />
      {totals.map((total, i) => (
        <TextField
          key={i}
          label={t("pass-apply-used", { product: productName(named, total) })}
          unit={amount({ value: 0, unit: total.amount.unit }).replace(/^0\s*/, "")}
          inputMode="decimal"
          value={form.used[i] ?? ""}
          fault={fault(`used${i}`)}
          onValue={(text) => set({ used: form.used.map((u, k) => (k === i ? text : u)) })}
        />
      ))}
      {totals.some((total, i) => differs(form.used[i] ?? "", measured(total.amount).value)) && (
        <TextField label={t("mayi-difference-why")} value={form.difference} fault={faults.difference && t("mayi-difference-needed")} onValue={(difference) => set({ difference })} />
      )}
      <TextField label={t("mayi-equipment")} optional value={form.equipment} onValue={(equipment) => set({ equipment })} />
      <TextField label={t("mayi-target")} optional value={form.target} onValue={(target) => set({ target })} />
      <p role="status">{said}</p>
      {problem !== null && <ProblemNote problem={problem} />}
      <MainAction label={t("pass-apply-save")} run={() => void save()} busy={busy} />
    </section>
  );
}
