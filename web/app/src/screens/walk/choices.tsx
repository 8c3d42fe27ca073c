import { useId } from "preact/hooks";

/** One of a few, as big buttons: no list to open with a glove on. */
export function Choices<T extends string | number>(props: {
  readonly legend: string;
  /** Null: none chosen yet. */
  readonly value: T | null;
  readonly choices: readonly { readonly value: T; readonly label: string }[];
  readonly onValue: (value: T) => void;
}) {
  const name = useId();
  return (
    <fieldset class="choices">
      <legend>{props.legend}</legend>
      <div class="choices-row">
        {props.choices.map((c) => (
          <label key={c.value} class="choice">
            <input type="radio" name={name} checked={c.value === props.value} onChange={() => props.onValue(c.value)} />
            <span>{c.label}</span>
          </label>
        ))}
      </div>
    </fieldset>
  );
}
