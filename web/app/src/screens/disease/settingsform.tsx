import { t as say } from "../../i18n";
import { causes, findStates } from "../../model/kinds";
import { Check, TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { type Faults, type SettingsForm } from "./settings";

// A refuted find is no disease: the server groups none.
const countable = findStates.filter((s) => s !== "refuted");

const toggled = <T,>(list: readonly T[], value: T, on: boolean): T[] => (on ? [...list, value] : list.filter((v) => v !== value));

/** The question's settings, each with its default stated. */
export function Settings(props: { readonly form: SettingsForm; readonly faults: Faults; readonly onForm: (form: SettingsForm) => void }) {
  const t = useText();
  const { form, faults } = props;
  const set = (part: Partial<SettingsForm>) => props.onForm({ ...form, ...part });
  const said = (field: keyof Faults) => {
    const fault = faults[field];
    return fault === "number" ? say("disease-number") : fault === "whole" ? say("disease-whole") : fault === "share" ? say("disease-section-fault") : undefined;
  };
  return (
    <>
      <fieldset class="ticks">
        <legend>{t("disease-causes")}</legend>
        {causes.map((c) => (
          <Check key={c} label={t(`walk-cause-${c}`)} checked={form.causes.includes(c)} onChecked={(on) => set({ causes: toggled(form.causes, c, on) })} />
        ))}
      </fieldset>
      <fieldset class="ticks">
        <legend>{t("disease-states")}</legend>
        {countable.map((s) => (
          <Check key={s} label={t(`walk-state-${s}`)} checked={form.states.includes(s)} onChecked={(on) => set({ states: toggled(form.states, s, on) })} />
        ))}
      </fieldset>
      {faults.causes && <p class="fault">{t("disease-none-chosen")}</p>}
      <details>
        <summary>{t("disease-settings")}</summary>
        <p class="hint">{t("disease-settings-why")}</p>
        <TextField
          label={t("disease-along")}
          hint={t("disease-along-default")}
          unit={form.along.unit}
          inputMode="decimal"
          value={form.along.text}
          fault={said("along_m")}
          onValue={(text) => set({ along: { ...form.along, text } })}
        />
        <TextField
          label={t("disease-across")}
          hint={t("disease-across-default")}
          unit={form.across.unit}
          inputMode="decimal"
          value={form.across.text}
          fault={said("across_m")}
          onValue={(text) => set({ across: { ...form.across, text } })}
        />
        <TextField label={t("disease-min")} hint={t("disease-min-default")} inputMode="numeric" value={form.minFinds} fault={said("min_finds")} onValue={(minFinds) => set({ minFinds })} />
        <TextField label={t("disease-gap")} hint={t("disease-gap-default")} inputMode="numeric" value={form.gap} fault={said("gap_plants")} onValue={(gap) => set({ gap })} />
        <TextField label={t("disease-margin")} hint={t("disease-margin-default")} inputMode="numeric" value={form.margin} fault={said("margin_plants")} onValue={(margin) => set({ margin })} />
        <TextField label={t("disease-inspect")} hint={t("disease-inspect-default")} inputMode="numeric" value={form.inspect} fault={said("inspect_rows")} onValue={(inspect) => set({ inspect })} />
        <TextField
          label={t("disease-section-limit")}
          hint={t("disease-section-limit-default")}
          optional
          unit="%"
          inputMode="decimal"
          value={form.sectionLimit}
          fault={said("section_limit")}
          onValue={(sectionLimit) => set({ sectionLimit })}
        />
      </details>
    </>
  );
}
