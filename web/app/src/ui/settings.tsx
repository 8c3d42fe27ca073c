import { language, languages } from "../i18n";
import { systems, units } from "../units";
import { useSignal, useText } from "./hooks";

/** One of a few, as buttons side by side; aria-pressed says which. */
export function Toggle<T extends string>(props: {
  readonly label: string;
  readonly value: T;
  readonly onValue: (value: T) => void;
  readonly choices: readonly { readonly value: T; readonly label: string; readonly title?: string; readonly lang?: string }[];
}) {
  return (
    <div class="toggle" role="group" aria-label={props.label}>
      {props.choices.map((c) => (
        <button key={c.value} type="button" aria-pressed={c.value === props.value} title={c.title} lang={c.lang} onClick={() => props.onValue(c.value)}>
          {c.label}
        </button>
      ))}
    </div>
  );
}

export function LanguageChoice() {
  const t = useText();
  return (
    <Toggle
      label={t("core-language")}
      value={useSignal(language)}
      onValue={language.set}
      choices={languages.map((l) => ({ value: l, label: t(`core-language-${l}`), lang: l }))}
    />
  );
}

export function UnitsChoice() {
  const t = useText();
  return (
    <Toggle
      label={t("core-units")}
      value={useSignal(units)}
      onValue={units.set}
      choices={systems.map((s) => ({ value: s, label: t(`core-units-${s}-short`), title: t(`core-units-${s}`) }))}
    />
  );
}
