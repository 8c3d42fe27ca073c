import { useEffect, useState } from "preact/hooks";
import type { Client, Export } from "../../api/client";
import { language } from "../../i18n";
import type { Kind } from "../../model/kinds";
import { Choice } from "../../ui/form";
import { useSignal, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";

/** The farm, or one kind of its records, as a file of each format. */
export function Exports({ api, kind }: { api: Client; kind: Kind }) {
  const t = useText();
  const lang = useSignal(language);
  const [list, setList] = useState<readonly Export[] | null>(null);
  const [failure, setFailure] = useState<unknown>(null);
  const [tries, setTries] = useState(0);
  const [name, setName] = useState("farm");
  useEffect(() => {
    const stop = new AbortController();
    setFailure(null);
    api.exports({ signal: stop.signal }).then(setList, (thrown: unknown) => {
      if (!stop.signal.aborted) setFailure(thrown);
    });
    return () => stop.abort();
  }, [api, lang, tries]);
  // The kind looked at is the likely wish after the whole farm.
  const rank = (e: Export) => (e.name === "farm" ? 0 : e.name === kind ? 1 : 2);
  const entries = list?.toSorted((a, b) => rank(a) - rank(b));
  const chosen = entries?.find((e) => e.name === name) ?? entries?.[0];
  return (
    <section>
      <h2>{t("papers-export")}</h2>
      <p class="hint">{t("papers-export-note")}</p>
      <ProblemNote problem={failure} onRetry={() => setTries(tries + 1)} />
      {!list && !failure && <p>{t("core-loading")}</p>}
      {chosen && chosen.count === 0 && <p>{t("papers-export-empty")}</p>}
      {entries && chosen && chosen.count > 0 && (
        <>
          <Choice
            id="papers-export-what"
            label={t("papers-export-what")}
            value={chosen.name}
            onValue={setName}
            choices={entries.map((e) => ({ value: e.name, label: t("papers-export-entry", { title: e.title, n: e.count }) }))}
          />
          <ul class="exports">
            {chosen.files.map((f) => (
              <li key={f.form}>
                <a href={f.href} download>
                  {t("papers-export-as", { title: chosen.title, format: f.format, form: f.form })}
                </a>
                {f.says?.map((says) => (
                  <p class="hint" key={says}>
                    {says}
                  </p>
                ))}
              </li>
            ))}
          </ul>
        </>
      )}
    </section>
  );
}
