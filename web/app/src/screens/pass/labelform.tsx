import { useState } from "preact/hooks";
import { asProblem } from "../../api/problem";
import type { Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { uuid7 } from "../../model/uuid7";
import { MainAction } from "../../ui/action";
import { Check, Choice, TextArea, TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { faultOf, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { units } from "../../units";
import { DataTable } from "../papers/datatable";
import type { PlaceProps } from "../place";
import { metresPerSecond } from "./draft";
import { buildLabel, emptyValues, type LabelFault, type LabelField, type LabelForm, labelFields, labelLists, readLabel, type Value, type Values } from "./label";

type Text = ReturnType<typeof useText>;
type Key = Parameters<Text>[0];

const slug = (path: string) => path.replace(/[._]+/g, "-");
/** What a choice is called: words of the page, or the unit itself. */
function named(t: Text, list: string, path: string, choice: string): string {
  if (path === "content.unit" || path === "density.unit") return t(`label-content-${choice}` as Key);
  if (path === "unit" || path === "carrier_least.unit") return t(`pass-unit-${choice}` as Key);
  if (path === "area" || path === "carrier_least.per" || (list === "rates" && path === "per")) return t(`pass-per-${choice}` as Key);
  if (list === "setbacks" && path === "from") return t(`pass-surroundings-${choice}` as Key);
  if (path === "patterns") return t(`pass-pattern-${choice}` as Key);
  return t(`label-choice-${slug(list ? `${list}.${path}` : path)}-${choice}` as Key);
}

/** Labels on record, and a new one. */
export function Labels({ farm, go, products }: PlaceProps & { readonly products: readonly Stored<"products">[] }) {
  const t = useText();
  return (
    <>
      <h2>{t("label-title")}</h2>
      <p class="hint">{t("label-hint")}</p>
      {products.length === 0 ? (
        <p>{t("label-none")}</p>
      ) : (
        <DataTable
          caption={t("label-list")}
          columns={[
            { key: "name", head: t("label-name"), cell: (p) => p.feature.properties.name },
            { key: "registration", head: t("label-registration"), cell: (p) => p.feature.properties.registration ?? "" },
            { key: "phi", head: t("label-phi-days"), cell: (p) => p.feature.properties.phi_days ?? null },
            { key: "rei", head: t("label-rei-hours"), cell: (p) => p.feature.properties.rei_hours ?? null },
          ]}
          rows={products}
          keyOf={(p) => p.id}
          file={`${farm.id}-labels`}
          first={{ key: "name", down: false }}
          onChoose={(p) => go({ view: `label:${p.id}` })}
          chooseName={(p) => t("label-open", { name: p.feature.properties.name })}
        />
      )}
      {mayWrite(farm.info.role, "products") ? <MainAction label={t("label-new")} run={() => go({ view: "label:new" })} /> : <p class="hint">{t("label-not-yours")}</p>}
    </>
  );
}

/** One label as typed: a form over everything a label says. */
export function OneLabel({ farm, map, go, product }: PlaceProps & { readonly product: Stored<"products"> | undefined }) {
  const t = useText();
  const us = units.get() === "us";
  const before = (product?.feature.properties ?? {}) as Record<string, unknown>;
  const [form, setForm] = useState<LabelForm>(() => (product ? readLabel(before, us) : { one: emptyValues(labelFields, us), many: { ingredients: [emptyValues(labelLists[0]!.fields, us)], rates: [emptyValues(labelLists[1]!.fields, us)] } }));
  const [faults, setFaults] = useState<readonly LabelFault[]>([]);
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const [id] = useState(() => product?.id ?? uuid7());
  const may = mayWrite(farm.info.role, "products");
  const faultAt = (field: string) => {
    const own = faults.filter((f) => f.field === field).map((f) => t(`pass-fault-${f.key}`));
    return [...own, faultOf(problem ? asProblem(problem) : null, field) ?? ""].filter(Boolean).join(" ") || undefined;
  };
  const save = async () => {
    const built = buildLabel(form, before);
    setFaults(built.faults);
    setProblem(null);
    if (built.faults.length > 0) {
      document.getElementById(idOf(built.faults[0]!.field))?.focus();
      return;
    }
    setBusy(true);
    try {
      await farm.put("products", { type: "Feature", id, geometry: null, properties: built.properties as Stored<"products">["feature"]["properties"] }, product ?? null);
      say(t("label-saved"));
      go({ view: "labels" });
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  const setMany = (list: string, rows: readonly Values[]) => setForm((f) => ({ ...f, many: { ...f.many, [list]: rows } }));
  const shown = (asProblem(problem ?? new Error()).errors ?? []).flatMap((e) => (e.field && document.getElementById(idOf(e.field.replace(/^properties\./, ""))) ? [e.field] : []));
  return (
    <>
      <button type="button" class="link" onClick={() => go({ view: "labels" })}>
        {t("label-back")}
      </button>
      <h2>{product ? product.feature.properties.name : t("label-new")}</h2>
      <p class="hint">{t("label-as-printed")}</p>
      <Fields list="" prefix="" fields={labelFields} values={form.one} faultAt={faultAt} onValues={(one) => setForm((f) => ({ ...f, one }))} />
      {labelLists.map((list) => {
        const rows = form.many[list.path] ?? [];
        const what = t(`label-one-${list.path}` as Key);
        return (
          <section key={list.path}>
            <h3>{t(`label-${list.path}` as Key)}</h3>
            <p class="hint">{t(`label-${list.path}-hint` as Key)}</p>
            {rows.map((values, i) => (
              <fieldset key={i}>
                <legend>{t("label-nth", { what, n: i + 1 })}</legend>
                <Fields list={list.path} prefix={`${list.path}[${i}].`} fields={list.fields} values={values} faultAt={faultAt} onValues={(next) => setMany(list.path, rows.with(i, next))} />
                {faultAt(`${list.path}[${i}]`) && <p class="fault">{faultAt(`${list.path}[${i}]`)}</p>}
                <button type="button" onClick={() => setMany(list.path, rows.toSpliced(i, 1))}>
                  {t("label-drop", { what, n: i + 1 })}
                </button>
              </fieldset>
            ))}
            <button type="button" onClick={() => setMany(list.path, [...rows, emptyValues(list.fields, us)])}>
              {t("label-add", { what })}
            </button>
          </section>
        );
      })}
      {problem !== null && <ProblemNote problem={problem} map={map} fields={shown} />}
      {may ? <MainAction label={busy ? t("label-saving") : t("label-save")} run={() => void save()} busy={busy} /> : <p class="hint">{t("label-not-yours")}</p>}
    </>
  );
}

const idOf = (path: string) => `label-${path.replace(/[^A-Za-z0-9]+/g, "-")}`;

function Fields(props: { list: string; prefix: string; fields: readonly LabelField[]; values: Values; faultAt: (field: string) => string | undefined; onValues: (values: Values) => void }) {
  return (
    <>
      {props.fields.map((f) => (
        <OneField
          key={f.path}
          list={props.list}
          field={f}
          id={idOf(props.prefix + f.path)}
          value={props.values[f.path] ?? ""}
          fault={props.faultAt(props.prefix + f.path) ?? props.faultAt(`${props.prefix}${f.path.split(".")[0]}`)}
          onValue={(v) => props.onValues({ ...props.values, [f.path]: v })}
        />
      ))}
    </>
  );
}

function OneField({ list, field, id, value, fault, onValue }: { list: string; field: LabelField; id: string; value: Value; fault: string | undefined; onValue: (v: Value) => void }) {
  const t = useText();
  const label = t((list === "phi" && field.path === "days" ? "label-phi-days-one" : `label-${slug(list ? `${list}.${field.path}` : field.path)}`) as Key);
  const text = typeof value === "object" ? value.text : String(value);
  switch (field.kind) {
    case "check":
      return <Check label={label} checked={value === true} onChecked={onValue} />;
    case "several": {
      const chosen = text.split(",").filter(Boolean);
      return (
        <fieldset id={id} tabIndex={-1}>
          <legend>{label}</legend>
          {(field.choices ?? []).map((c) => (
            <Check key={c} label={named(t, list, field.path, c)} checked={chosen.includes(c)} onChecked={(on) => onValue((on ? [...chosen, c] : chosen.filter((o) => o !== c)).join(","))} />
          ))}
          {fault && <p class="fault">{fault}</p>}
        </fieldset>
      );
    }
    case "choice":
      return (
        <Choice
          id={id}
          label={label}
          empty={t("label-not-given")}
          value={text}
          choices={(field.choices ?? []).map((c) => ({ value: c, label: named(t, list, field.path, c) }))}
          fault={fault}
          onValue={onValue}
        />
      );
    case "length":
    case "speed": {
      const all = field.kind === "length" ? (field.units ?? []) : Object.keys(metresPerSecond);
      const unit = typeof value === "object" ? value.unit : "";
      return (
        <div class="pair">
          <TextField id={id} label={label} inputMode="decimal" value={text} fault={fault} onValue={(next) => onValue({ text: next, unit })} />
          <Choice label={t("pass-unit", { what: label.toLowerCase() })} value={unit} choices={all.map((u) => ({ value: u as string, label: u }))} onValue={(next) => onValue({ text, unit: next })} />
        </div>
      );
    }
    case "notes":
      return <TextArea id={id} label={label} rows={3} value={text} fault={fault} onValue={onValue} />;
    case "date":
      return <TextField id={id} label={label} type="date" value={text} fault={fault} onValue={onValue} />;
    case "day":
      return <TextField id={id} label={label} hint={t("label-day-hint")} value={text} fault={fault} onValue={onValue} />;
  }
  return <TextField id={id} label={label} inputMode={field.kind === "text" ? "text" : "decimal"} value={text} fault={fault} onValue={onValue} />;
}
