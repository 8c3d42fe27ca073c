import { t as say } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { surroundingsKinds } from "../../model/kinds";
import type { Problem } from "../../api/problem";
import { Check, Choice, TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { type FieldFault, fieldId, type LineForm, type SetbackForm, type Typed } from "./draft";

/** Finds what is wrong with a field, from here or from the server; `below` takes faults of parts of it too. */
export type FaultAt = (field: string, below?: boolean) => string | undefined;

export function faultsAt(faults: readonly FieldFault[], problem: Problem | null): FaultAt {
  return (field, below = false) => {
    const hit = (at: string | undefined) =>
      at !== undefined && (at === field || (below && (at.startsWith(`${field}.`) || at.startsWith(`${field}[`))));
    const own = faults.filter((f) => hit(f.field)).map((f) => say(`pass-fault-${f.key}`));
    const theirs = (problem?.errors ?? []).filter((e) => hit(e.field)).map((e) => [e.detail, e.fix].filter(Boolean).join(" "));
    return [...own, ...theirs].join(" ") || undefined;
  };
}

export const amountUnits = ["fl_oz", "pt", "qt", "gal", "oz_wt", "lb", "mL", "L", "g", "kg"] as const;
const sprayUnits = ["gal", "L"] as const;
const pers = ["acre", "treated-acre", "ha", "treated-ha", "100gal", "100L", "1000ft", "1000m", "plant", "spray"] as const;
const sprayPers = ["acre", "ha", "1000ft", "1000m", "plant"] as const;


export function UnitChoice(props: { label: string; field: string; value: string; spray?: boolean; fault: string | undefined; onValue: (unit: string) => void }) {
  const list: readonly ((typeof amountUnits)[number] | "percent")[] = props.spray ? sprayUnits : [...amountUnits, "percent"];
  return (
    <Choice
      id={fieldId(props.field)}
      label={props.label}
      value={props.value}
      choices={list.map((u) => ({ value: u as string, label: say(`pass-unit-${u}`) }))}
      fault={props.fault}
      onValue={props.onValue}
    />
  );
}

export function PerChoice(props: { label: string; field: string; value: string; spray?: boolean; fault: string | undefined; onValue: (per: string) => void }) {
  const list: readonly (typeof pers)[number][] = props.spray ? sprayPers : pers;
  return (
    <Choice
      id={fieldId(props.field)}
      label={props.label}
      value={props.value}
      choices={list.map((p) => ({ value: p as string, label: say(`pass-per-${p}`) }))}
      fault={props.fault}
      onValue={props.onValue}
    />
  );
}

/** A length with its unit beside it, chosen and never silently changed. */
export function LengthField(props: { label: string; field: string; hint?: string; value: Typed; units: readonly Typed["unit"][]; fault: string | undefined; onValue: (value: Typed) => void }) {
  const t = useText();
  return (
    <div class="pair">
      <TextField
        id={fieldId(props.field)}
        label={props.label}
        hint={props.hint}
        inputMode="decimal"
        value={props.value.text}
        fault={props.fault}
        onValue={(text) => props.onValue({ ...props.value, text })}
      />
      <Choice
        label={t("pass-unit", { what: props.label.toLowerCase() })}
        value={props.value.unit}
        choices={props.units.map((u) => ({ value: u, label: u }))}
        onValue={(unit) => props.onValue({ ...props.value, unit })}
      />
    </div>
  );
}

export function SetbackFields(props: {
  readonly n: number;
  readonly form: SetbackForm;
  readonly named: readonly Stored<"surroundings">[];
  readonly faultAt: FaultAt;
  readonly onForm: (form: SetbackForm) => void;
  readonly onDrop: () => void;
}) {
  const t = useText();
  const { form, faultAt } = props;
  const at = `setbacks[${props.n}]`;
  const set = (part: Partial<SetbackForm>) => props.onForm({ ...form, ...part });
  const n = String(props.n + 1);
  return (
    <fieldset>
      <legend>{t("pass-setback", { n })}</legend>
      <Choice
        id={fieldId(`${at}.from`)}
        label={t("pass-setback-from")}
        value={form.from}
        choices={[
          ...surroundingsKinds.map((k) => ({ value: k as string, label: k === "water" ? t("pass-setback-water") : t(`pass-surroundings-${k}`) })),
          ...props.named.map((s) => ({ value: s.id, label: placeName(s) })),
        ]}
        fault={faultAt(`${at}.from`)}
        onValue={(from) => set({ from })}
      />
      <LengthField
        label={t("pass-setback-distance")}
        field={`${at}.distance_m`}
        value={form.distance}
        units={["ft", "m"]}
        fault={faultAt(`${at}.distance_m`)}
        onValue={(distance) => set({ distance })}
      />
      <Choice
        id={fieldId(`${at}.side`)}
        label={t("pass-setback-side")}
        value={form.side}
        choices={[
          { value: "all", label: t("pass-setback-all") },
          { value: "downwind", label: t("pass-setback-downwind") },
        ]}
        fault={faultAt(`${at}.side`)}
        onValue={(side) => set({ side })}
      />
      {form.side === "downwind" && (
        <TextField
          id={fieldId(`${at}.half_angle_deg`)}
          label={t("pass-setback-angle")}
          hint={t("pass-setback-angle-hint")}
          inputMode="decimal"
          value={form.halfAngle}
          fault={faultAt(`${at}.half_angle_deg`)}
          onValue={(halfAngle) => set({ halfAngle })}
        />
      )}
      {form.from === "water" && (
        <>
          <Choice
            id={fieldId(`${at}.to_edge`)}
            label={t("pass-setback-to-edge")}
            empty={t("pass-setback-line")}
            value={form.toEdge}
            choices={[
              { value: "water-edge", label: t("label-choice-setbacks-to-edge-water-edge") },
              { value: "top-of-bank", label: t("label-choice-setbacks-to-edge-top-of-bank") },
            ]}
            fault={faultAt(`${at}.to_edge`)}
            onValue={(toEdge) => set({ toEdge })}
          />
          {form.toEdge === "top-of-bank" && (
            <LengthField label={t("pass-setback-bank")} field={`${at}.bank_m`} value={form.bank} units={["ft", "m"]} fault={faultAt(`${at}.bank_m`)} onValue={(bank) => set({ bank })} />
          )}
          <Check label={t("pass-setback-strip")} checked={form.strip} onChecked={(strip) => set({ strip })} />
        </>
      )}
      <button type="button" onClick={props.onDrop}>
        {t("pass-setback-drop", { n })}
      </button>
    </fieldset>
  );
}

/** What one of the surroundings is called: its kind and its name. */
export function placeName(s: Stored<"surroundings">): string {
  const p = s.feature.properties;
  const kind = say(`pass-surroundings-${p.kind}`);
  return p.name ? `${p.name} (${kind})` : kind;
}

export function ProductFields(props: {
  readonly n: number;
  readonly form: LineForm;
  readonly products: readonly Stored<"products">[];
  readonly faultAt: FaultAt;
  readonly onForm: (form: LineForm) => void;
  readonly onDrop: (() => void) | undefined;
}) {
  const t = useText();
  const { form, faultAt } = props;
  const at = `products[${props.n}]`;
  const set = (part: Partial<LineForm>) => props.onForm({ ...form, ...part });
  const n = String(props.n + 1);
  const label = (id: string) => props.products.find((p) => p.id === id)?.feature.properties;
  const choose = (id: string) => {
    const rate = label(id)?.rates?.[0];
    set({ product: id, of: rate?.of ?? "", ...(rate ? { value: String(rate.value), unit: rate.unit, per: rate.per } : {}) });
  };
  const ingredients = (label(form.product)?.ingredients ?? []).map((i) => i.name);
  return (
    <fieldset>
      <legend>{t("pass-product", { n })}</legend>
      {props.products.length > 0 && (
        <Choice
          id={fieldId(`${at}.product`)}
          label={t("pass-product-record")}
          value={form.product}
          empty={t("pass-product-typed")}
          choices={props.products.map((p) => ({ value: p.id, label: p.feature.properties.name }))}
          fault={form.product ? faultAt(`${at}.product`, true) : undefined}
          onValue={choose}
        />
      )}
      {!form.product && (
        <TextField
          id={fieldId(`${at}.product.name`)}
          label={t("pass-product-name")}
          value={form.name}
          fault={faultAt(`${at}.product`, true)}
          onValue={(name) => set({ name })}
        />
      )}
      <TextField
        id={fieldId(`${at}.rate.value`)}
        label={t("pass-rate")}
        inputMode="decimal"
        value={form.value}
        fault={faultAt(`${at}.rate.value`) ?? faultAt(`${at}.rate`)}
        onValue={(value) => set({ value })}
      />
      <div class="pair">
        <UnitChoice label={t("pass-rate-unit")} field={`${at}.rate.unit`} value={form.unit} fault={faultAt(`${at}.rate.unit`)} onValue={(unit) => set({ unit })} />
        <PerChoice label={t("pass-rate-per")} field={`${at}.rate.per`} value={form.per} fault={faultAt(`${at}.rate.per`)} onValue={(per) => set({ per })} />
      </div>
      {ingredients.length > 0 && (
        <Choice
          id={fieldId(`${at}.rate.of`)}
          label={t("pass-rate-of")}
          value={form.of}
          empty={t("pass-rate-of-product")}
          choices={ingredients.map((name) => ({ value: name, label: name }))}
          fault={faultAt(`${at}.rate.of`)}
          onValue={(of) => set({ of })}
        />
      )}
      {props.onDrop && (
        <button type="button" onClick={props.onDrop}>
          {t("pass-product-drop", { n })}
        </button>
      )}
    </fieldset>
  );
}
