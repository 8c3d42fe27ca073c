import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { useText } from "./hooks";

export interface HowProps {
  /** The figure with its unit. */
  readonly children: ComponentChildren;
  readonly formula: string;
  /** Name and value of what went in. */
  readonly inputs?: readonly (readonly [string, string])[];
  readonly source?: string;
  /** As shown to people. */
  readonly date?: string;
}

/** A figure that tells, on a click, how it came about. */
export function How({ children, formula, inputs, source, date }: HowProps) {
  const t = useText();
  const [open, setOpen] = useState(false);
  return (
    <span class="how">
      <strong class="figure">{children}</strong>{" "}
      <button type="button" class="link small" aria-expanded={open} onClick={() => setOpen(!open)}>
        {t("core-how")}
      </button>
      {open && (
        <dl class="how-note">
          <dt>{t("core-how-formula")}</dt>
          <dd>{formula}</dd>
          {inputs && inputs.length > 0 && (
            <>
              <dt>{t("core-how-inputs")}</dt>
              <dd>
                {inputs.map(([name, value]) => (
                  <div key={name}>
                    {name}: {value}
                  </div>
                ))}
              </dd>
            </>
          )}
          {source && (
            <>
              <dt>{t("core-how-source")}</dt>
              <dd>{source}</dd>
            </>
          )}
          {date && (
            <>
              <dt>{t("core-how-date")}</dt>
              <dd>{date}</dd>
            </>
          )}
        </dl>
      )}
    </span>
  );
}
