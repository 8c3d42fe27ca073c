import { useEffect, useState } from "preact/hooks";
import { Scouting } from "../../api/scouting";
import type { Cause } from "../../model/kinds";
import { useAsked } from "../../ui/asked";
import { useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import type { PlaceProps } from "../place";

/** Asks which of several things a name means; shows nothing where it means one. `is` is what it is taken for now. */
export function WhichName({ api, said, is, onCause }: Pick<PlaceProps, "api"> & { said: string; is: Cause | undefined; onCause: ((cause: Cause) => void) | undefined }) {
  const t = useText();
  const settled = useSettled(said);
  const { now, problem, again } = useAsked((options) => new Scouting(api).names(settled, options), [api, settled]);
  if (problem !== null) return <ProblemNote problem={problem} onRetry={again} />;
  if (!now?.ask) return null;
  return (
    <section class="which-name">
      <h3>{t("samples-which-name")}</h3>
      <p>{now.question}</p>
      <ul>
        {now.candidates.map((c) => (
          <li key={c.cause}>
            <h4>{c.name}</h4>
            {c.organisms.length > 0 && <p class="organism">{c.organisms.join(", ")}</p>}
            <p>{c.signs}</p>
            <p class="soft">
              {[c.hosts, c.when, c.source].join(". ")}
            </p>
            {onCause && c.cause !== is && (
              <button type="button" onClick={() => onCause(c.cause)}>
                {t("samples-it-is", { name: c.name })}
              </button>
            )}
          </li>
        ))}
      </ul>
    </section>
  );
}

// Typing is over when nothing came for so long.
const settledMs = 500;

function useSettled(value: string): string {
  const [settled, setSettled] = useState(value);
  useEffect(() => {
    const timer = setTimeout(() => setSettled(value), settledMs);
    return () => clearTimeout(timer);
  }, [value]);
  return settled;
}
