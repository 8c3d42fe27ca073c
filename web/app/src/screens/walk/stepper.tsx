import { useEffect, useId, useState } from "preact/hooks";
import { useText } from "../../ui/hooks";
import { step } from "./find";

/** A counter with big buttons and a field to type in; `leap` adds a longer step either way. */
export function Stepper(props: {
  readonly label: string;
  readonly value: number;
  /** The last number there is; 0 for not known. */
  readonly last: number;
  readonly leap?: number;
  readonly hint?: string;
  readonly onValue: (value: number) => void;
}) {
  const t = useText();
  const id = useId();
  const [typed, setTyped] = useState(String(props.value));
  useEffect(() => setTyped(String(props.value)), [props.value]);
  const steps = props.leap ? [-props.leap, -1] : [-1];
  const button = (by: number) => (
    <button
      key={by}
      type="button"
      class="step"
      aria-label={t(by < 0 ? "walk-minus" : "walk-plus", { what: props.label, n: Math.abs(by) })}
      onClick={() => props.onValue(step(props.value, by, props.last))}
    >
      {by < 0 ? "−" : "+"}
      {Math.abs(by) > 1 ? Math.abs(by) : ""}
    </button>
  );
  return (
    <div class="stepper">
      <label for={id}>{props.label}</label>
      <div class="stepper-row">
        {steps.map(button)}
        <input
          id={id}
          inputMode="numeric"
          autocomplete="off"
          value={typed}
          aria-describedby={props.hint ? `${id}-hint` : undefined}
          onInput={(e) => {
            setTyped(e.currentTarget.value);
            const n = Number(e.currentTarget.value);
            if (Number.isInteger(n) && n >= 1) props.onValue(n);
          }}
          onBlur={() => setTyped(String(props.value))}
        />
        {steps.toReversed().map((by) => button(-by))}
      </div>
      {props.hint && (
        <p class="hint" id={`${id}-hint`}>
          {props.hint}
        </p>
      )}
    </div>
  );
}
