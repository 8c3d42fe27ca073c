import { useState } from "preact/hooks";
import { dueList, law, putLaw, type Law } from "../../api/mayi";
import { moment } from "../../i18n";
import { useAsked } from "../../ui/asked";
import { Check, Choice } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { TakeFile } from "../../ui/take";
import { blockNames } from "../pass/onepass";
import { passMoment, saved } from "../pass/saved";
import type { PlaceProps } from "../place";
import { DutyWord } from "./passrecord";
import "./mayi.css";

/** What the law still asks for of applied passes, and the papers of them all. */
export function RecordsDue(props: PlaceProps) {
  const t = useText();
  const { farm, api } = props;
  const zone = farm.info.zone;
  const passes = useRecords(farm, "passes");
  const blocks = useRecords(farm, "blocks");
  const [changed, setChanged] = useState(0);
  const { now, problem, again } = useAsked((options) => dueList(api, options), [api, passes.list, changed]);
  const named = { blocks: blocks.list, products: [], surroundings: [] };
  const of = (id: string) => passes.list.find((p) => p.id === id);
  return (
    <>
      <h1>{t("mayi-due-title")}</h1>
      {problem !== null && <ProblemNote problem={problem} onRetry={again} />}
      {now && now.due.length === 0 && <p>{t("mayi-due-none")}</p>}
      {now && (
        <ul class="mayi-duties">
          {now.due.map((d) => {
            const p = of(d.pass);
            return (
              <li key={d.pass + d.rule}>
                <DutyWord due={d} zone={zone} /> {d.name}, {d.jurisdiction}. <span class="hint">{d.source}.</span>
                {p && (
                  <p>
                    <a class="link" href={`/go/${farm.id}/pass?view=pass:${d.pass}`}>
                      {t("mayi-due-open", { blocks: blockNames(saved(p), named), day: moment(passMoment(saved(p)), zone) })}
                    </a>
                  </p>
                )}
              </li>
            );
          })}
        </ul>
      )}
      {now && <Caution>{now.caution}</Caution>}
      <FarmPapers {...props} />
      <LawChoice {...props} onSaved={() => setChanged((n) => n + 1)} />
    </>
  );
}

function FarmPapers({ farm, api }: PlaceProps) {
  const t = useText();
  const blocks = useRecords(farm, "blocks");
  const [chosen, setChosen] = useState("");
  const block = blocks.list.find((b) => b.id === chosen) ?? blocks.list[0];
  const year = String(new Date().getFullYear());
  const take = (name: string, form: "pdf" | "csv", params: Record<string, string>, label: string) => (
    <TakeFile net={api.net} path={api.reportPath(name, form, params)} file={`${farm.id}-${name}.${form}`} label={label} />
  );
  return (
    <section>
      <h2>{t("mayi-papers")}</h2>
      <div class="buttons">
        {take("records-due", "csv", {}, t("mayi-due-csv"))}
        {take("central-posting", "pdf", {}, t("mayi-posting"))}
        {take("central-posting", "csv", {}, t("mayi-posting-csv"))}
        {take("product-totals", "pdf", { year }, t("mayi-totals", { year }))}
        {take("product-totals", "csv", { year }, t("mayi-totals-csv", { year }))}
      </div>
      {block && (
        <>
          <Choice label={t("mayi-history-block")} value={block.id} choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))} onValue={setChosen} />
          <div class="buttons">
            {take("block-history", "pdf", { block: block.id }, t("mayi-history", { block: block.feature.properties.name }))}
            {take("block-history", "csv", { block: block.id }, t("mayi-history-csv", { block: block.feature.properties.name }))}
          </div>
        </>
      )}
    </section>
  );
}

function LawChoice({ farm, api, onSaved }: PlaceProps & { onSaved: () => void }) {
  const { now, take } = useAsked((options) => law(api, options), [api]);
  if (!now || farm.info.role !== "owner") return null;
  return <LawForm key={now.etag} now={now} save={async (choice) => {
    take(await putLaw(api, choice, now.etag));
    onSaved();
  }} />;
}

function LawForm({ now, save }: { now: Law; save: (choice: { jurisdictions: readonly string[]; owner_exempt: boolean }) => Promise<void> }) {
  const t = useText();
  const [chosen, setChosen] = useState<readonly string[]>(now.jurisdictions);
  const [exempt, setExempt] = useState(now.owner_exempt);
  const [problem, setProblem] = useState<unknown>(null);
  const keep = async () => {
    setProblem(null);
    try {
      await save({ jurisdictions: chosen, owner_exempt: exempt });
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  return (
    <fieldset>
      <legend>{t("mayi-law")}</legend>
      <p class="hint">{t("mayi-law-hint")}</p>
      {now.known.map((j) => (
        <Check key={j.id} label={j.name} checked={chosen.includes(j.id)} onChecked={(on) => setChosen(on ? [...chosen, j.id] : chosen.filter((c) => c !== j.id))} />
      ))}
      <Check label={t("mayi-law-exempt")} hint={t("mayi-law-exempt-hint")} checked={exempt} onChecked={setExempt} />
      <button type="button" onClick={() => void keep()}>
        {t("mayi-law-save")}
      </button>
      {problem !== null && <ProblemNote problem={problem} />}
    </fieldset>
  );
}
