import { Check, Choice, TextArea, TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { type ProgrammeForm, rules } from "./programme";

/** The fields of a programme; those who may not change it read them. */
export function ProgrammeFields(props: {
  readonly form: ProgrammeForm;
  readonly faults: Partial<Record<keyof ProgrammeForm, string>>;
  readonly readOnly: boolean;
  readonly causes: readonly string[];
  readonly onForm: (form: ProgrammeForm) => void;
  readonly why: string;
  readonly onWhy: (why: string) => void;
}) {
  const t = useText();
  const { form, faults, onForm } = props;
  const set = (part: Partial<ProgrammeForm>) => onForm({ ...form, ...part });
  const share = form.method === "binomial";
  return (
    <fieldset class="programme" disabled={props.readOnly}>
      <legend>{t("scoutplan-fields")}</legend>
      <TextField label={t("scoutplan-title")} value={form.title} fault={faults.title} onValue={(title) => set({ title })} />
      <TextField label={t("scoutplan-cause")} hint={t("scoutplan-cause-how")} list={props.causes} value={form.cause} fault={faults.cause} onValue={(cause) => set({ cause })} />
      <TextField label={t("scoutplan-what")} hint={t("scoutplan-what-how")} value={form.what} fault={faults.what} onValue={(what) => set({ what })} />
      <TextField label={t("scoutplan-unit")} hint={t("scoutplan-unit-how")} value={form.unit} fault={faults.unit} onValue={(unit) => set({ unit })} />
      <TextField label={t("scoutplan-stage")} optional value={form.stage} fault={faults.stage} onValue={(stage) => set({ stage })} />
      <TextArea label={t("scoutplan-sample")} rows={2} value={form.sample} fault={faults.sample} onValue={(sample) => set({ sample })} />
      <div class="pair">
        <TextField label={t("scoutplan-look")} inputMode="numeric" optional value={form.look} fault={faults.look} onValue={(look) => set({ look })} />
        <TextField label={t("scoutplan-sites")} inputMode="numeric" optional value={form.sites} fault={faults.sites} onValue={(sites) => set({ sites })} />
      </div>
      <Choice
        label={t("scoutplan-method")}
        value={form.method}
        choices={[
          { value: "binomial" as const, label: t("scoutplan-method-binomial") },
          { value: "poisson" as const, label: t("scoutplan-method-poisson") },
        ]}
        onValue={(method) => set({ method })}
      />
      <Choice label={t("scoutplan-rule")} value={form.rule} choices={rules.map((r) => ({ value: r, label: t(`scoutplan-rule-${r}`) }))} onValue={(rule) => set({ rule })} />
      {form.rule === "level" && (
        <>
          <TextField label={t("scoutplan-level")} inputMode="decimal" unit={share ? t("scoutplan-level-share", { unit: form.unit || "…" }) : t("scoutplan-level-mean", { unit: form.unit || "…" })} value={form.level} fault={faults.level} onValue={(level) => set({ level })} />
          <Check label={t("scoutplan-at-least")} checked={form.atLeast} onChecked={(atLeast) => set({ atLeast })} />
        </>
      )}
      <div class="pair">
        <TextField label={t("scoutplan-sureness")} inputMode="decimal" unit="%" value={form.sureness} fault={faults.sureness} onValue={(sureness) => set({ sureness })} />
        <Choice
          label={t("scoutplan-sides")}
          value={form.sides}
          choices={[
            { value: "2" as const, label: t("scoutplan-sides-2") },
            { value: "1" as const, label: t("scoutplan-sides-1") },
          ]}
          onValue={(sides) => set({ sides })}
        />
      </div>
      <TextArea label={t("scoutplan-note")} rows={2} value={form.note} fault={faults.note} onValue={(note) => set({ note })} />
      <TextField label={t("scoutplan-source")} hint={t("scoutplan-source-how")} optional value={form.source} fault={faults.source} onValue={(source) => set({ source })} />
      {!props.readOnly && <TextField label={t("scoutplan-why")} optional value={props.why} onValue={props.onWhy} />}
    </fieldset>
  );
}
