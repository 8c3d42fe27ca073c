import type { ComponentChildren } from "preact";
import { useId } from "preact/hooks";
import { useText } from "./hooks";

interface FieldProps {
  readonly label: string;
  /** What to type, or where the figure comes from. */
  readonly hint?: string;
  /** What is wrong with it, from the server or from here. */
  readonly fault?: string;
  readonly optional?: boolean;
}

function Frame(props: FieldProps & { id: string; children: ComponentChildren }) {
  const t = useText();
  return (
    <div class={props.fault ? "field faulty" : "field"}>
      <label for={props.id}>
        {props.label}
        {props.optional && <span class="soft"> ({t("core-optional")})</span>}
      </label>
      {props.children}
      {props.hint && (
        <p class="hint" id={`${props.id}-hint`}>
          {props.hint}
        </p>
      )}
      {props.fault && (
        <p class="fault" id={`${props.id}-fault`}>
          <span class="word stop">✕ {t("core-stop-word")}</span> {props.fault}
        </p>
      )}
    </div>
  );
}

const described = (id: string, p: FieldProps) =>
  [p.hint && `${id}-hint`, p.fault && `${id}-fault`].filter(Boolean).join(" ") || undefined;

export interface TextFieldProps extends FieldProps {
  readonly value: string;
  readonly onValue: (value: string) => void;
  readonly type?: "text" | "password" | "date" | "datetime-local" | "number" | "search";
  readonly inputMode?: "text" | "decimal" | "numeric";
  readonly autocomplete?: string;
  readonly required?: boolean;
  readonly unit?: string;
  readonly id?: string;
  readonly list?: readonly string[];
}

export function TextField(props: TextFieldProps) {
  const made = useId();
  const id = props.id ?? made;
  return (
    <Frame {...props} id={id}>
      <span class="typed">
        <input
          id={id}
          type={(props.type ?? "text") as "text"}
          inputMode={props.inputMode}
          value={props.value}
          required={props.required}
          autocomplete={props.autocomplete ?? "off"}
          aria-invalid={props.fault ? true : undefined}
          aria-describedby={described(id, props)}
          list={props.list ? `${id}-list` : undefined}
          onInput={(e) => props.onValue(e.currentTarget.value)}
        />
        {props.unit && <span class="unit">{props.unit}</span>}
      </span>
      {props.list && (
        <datalist id={`${id}-list`}>
          {props.list.map((v) => (
            <option key={v} value={v} />
          ))}
        </datalist>
      )}
    </Frame>
  );
}

export interface TextAreaProps extends FieldProps {
  readonly value: string;
  readonly onValue: (value: string) => void;
  readonly rows?: number;
  readonly id?: string;
}

export function TextArea(props: TextAreaProps) {
  const made = useId();
  const id = props.id ?? made;
  return (
    <Frame {...props} id={id}>
      <textarea
        id={id}
        rows={props.rows ?? 4}
        value={props.value}
        spellcheck={false}
        aria-invalid={props.fault ? true : undefined}
        aria-describedby={described(id, props)}
        onInput={(e) => props.onValue(e.currentTarget.value)}
      />
    </Frame>
  );
}

export interface ChoiceProps<T extends string> extends FieldProps {
  readonly value: T | "";
  readonly onValue: (value: T) => void;
  readonly choices: readonly { readonly value: T; readonly label: string }[];
  /** Offers the empty choice; without it an empty value shows "choose". */
  readonly empty?: string;
  readonly id?: string;
}

/** A list to choose one of. */
export function Choice<T extends string>(props: ChoiceProps<T>) {
  const t = useText();
  const made = useId();
  const id = props.id ?? made;
  return (
    <Frame {...props} id={id}>
      <select
        id={id}
        value={props.value}
        aria-invalid={props.fault ? true : undefined}
        aria-describedby={described(id, props)}
        onChange={(e) => props.onValue(e.currentTarget.value as T)}
      >
        {(props.empty !== undefined || props.value === "") && <option value="">{props.empty ?? t("core-choose")}</option>}
        {props.choices.map((c) => (
          <option key={c.value} value={c.value}>
            {c.label}
          </option>
        ))}
      </select>
    </Frame>
  );
}

export interface CheckProps {
  readonly label: string;
  readonly checked: boolean;
  readonly onChecked: (checked: boolean) => void;
  readonly hint?: string;
}

export function Check({ label, checked, onChecked, hint }: CheckProps) {
  const id = useId();
  return (
    <div class="check">
      <input id={id} type="checkbox" checked={checked} aria-describedby={hint ? `${id}-hint` : undefined} onChange={(e) => onChecked(e.currentTarget.checked)} />
      <label for={id}>{label}</label>
      {hint && (
        <p class="hint" id={`${id}-hint`}>
          {hint}
        </p>
      )}
    </div>
  );
}
