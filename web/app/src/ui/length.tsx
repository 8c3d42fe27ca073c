import { useEffect, useState } from "preact/hooks";
import { typedLength } from "../units";
import { formNumber, typedNumber } from "../units/typed";
import { TextField } from "./form";
import { useUnits } from "./hooks";

export interface LengthFieldProps {
  readonly label: string;
  readonly hint?: string;
  readonly fault?: string;
  readonly optional?: boolean;
  readonly id?: string;
  /** Metres; undefined is empty, NaN is typed but no number. */
  readonly metres: number | undefined;
  readonly onMetres: (metres: number | undefined) => void;
}

/** A length typed in the person's unit and handed on in metres; what is not retyped keeps its value to the last digit. */
export function LengthField({ metres, onMetres, ...rest }: LengthFieldProps) {
  const { unit, metres: per } = typedLength(useUnits());
  const shown = metres === undefined ? "" : formNumber(metres / per, 3);
  const [text, setText] = useState(shown);
  useEffect(() => {
    // Another unit or another record: write it anew. While typing, what is typed stays.
    const typed = typedNumber(text) * per;
    if (metres === undefined ? text.trim() !== "" && !Number.isNaN(typed) : Math.abs(typed - metres) > 1e-4 || (text.trim() === "" && !Number.isNaN(metres))) {
      if (!Number.isNaN(metres)) setText(shown);
    }
  }, [metres, per]);
  return (
    <TextField
      {...rest}
      unit={unit}
      inputMode="decimal"
      value={text}
      onValue={(v) => {
        setText(v);
        onMetres(v.trim() === "" ? undefined : typedNumber(v) * per);
      }}
    />
  );
}
