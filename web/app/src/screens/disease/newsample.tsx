import { useState } from "preact/hooks";
import { Scouting } from "../../api/scouting";
import { feature, type Stored } from "../../model/kinds";
import { uuid7 } from "../../model/uuid7";
import { MainAction } from "../../ui/action";
import { useAsked } from "../../ui/asked";
import { Check, Choice, TextField } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { Caution, faultOf, ProblemNote } from "../../ui/notes";
import { asProblem } from "../../api/problem";
import { say } from "../../ui/undo";
import { wallTime } from "../pass/zoned";
import type { PlaceProps } from "../place";
import { findName } from "./findname";

/** Finds go into a bag: which, where to, and what the laboratory needs. */
export function NewSample({ farm, api, address, go }: PlaceProps) {
  const t = useText();
  const finds = useRecords(farm, "finds");
  const samples = useRecords(farm, "samples");
  const blocks = useRecords(farm, "blocks");
  const asked = address.view?.split(":")[2];
  const from = farm.find("finds", asked)?.feature.properties.block;
  const block = farm.find("blocks", address.block ?? from);
  const [picked, setPicked] = useState<ReadonlySet<string>>(() => new Set(asked ? [asked] : []));
  const [form, setForm] = useState({ laboratory: "", sent_on: wallTime(Date.now(), farm.info.zone).slice(0, 10), accession: "" });
  const [problem, setProblem] = useState<unknown>(null);
  const [fault, setFault] = useState<string>();
  const [busy, setBusy] = useState(false);
  // One id for what is filled in here, so that pressing again after a lost answer makes no second sample.
  const [id] = useState(uuid7);

  const open = finds.list
    .filter((f) => f.feature.properties.block === block?.id && ["suspected", "sampled"].includes(f.feature.properties.state))
    .sort((a, b) => b.feature.properties.found_at.localeCompare(a.feature.properties.found_at));
  const laboratories = [...new Set(samples.list.flatMap((s) => s.feature.properties.laboratory ?? []))].sort();
  const chosen = [...picked].flatMap((f) => farm.find("finds", f) ?? []);
  const toggle = (find: string, on: boolean) => {
    const next = new Set(picked);
    if (on) next.add(find);
    else next.delete(find);
    setPicked(next);
  };

  const save = async () => {
    if (!form.laboratory.trim()) return setFault(t("samples-laboratory-missing"));
    setFault(undefined);
    setProblem(null);
    setBusy(true);
    try {
      const filled = Object.fromEntries(Object.entries(form).filter(([, v]) => v.trim() !== ""));
      await farm.put("samples", feature<"samples">(id, null, { finds: chosen.map((f) => f.id), ...filled }), null);
      for (const find of chosen) await markSampled(find);
      say(t("samples-saved", { n: chosen.length }));
      go({ view: `sample:${id}` });
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  // As it stands now: somebody may have written to it since it was listed.
  const markSampled = async (listed: Stored<"finds">) => {
    const find = await api.get("finds", listed.id);
    farm.know(find);
    if (find.feature.properties.state !== "suspected") return;
    await farm.put("finds", { ...find.feature, properties: { ...find.feature.properties, state: "sampled" } }, find, t("samples-why", { laboratory: form.laboratory.trim() }));
  };

  return (
    <>
      <h1>{t("samples-new-title")}</h1>
      <Choice
        label={t("disease-block")}
        value={block?.id ?? ""}
        choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))}
        onValue={(to) => go({ block: to }, { replace: true })}
      />
      {block && open.length === 0 && <p>{t("samples-no-finds")}</p>}
      {open.length > 0 && (
        <fieldset class="pick-finds">
          <legend>{t("samples-which")}</legend>
          {open.map((f) => (
            <Check key={f.id} label={findName(f, farm.info.zone)} hint={f.feature.properties.words ? t("samples-said", { words: f.feature.properties.words }) : undefined} checked={picked.has(f.id)} onChecked={(on) => toggle(f.id, on)} />
          ))}
        </fieldset>
      )}
      <TextField label={t("samples-laboratory")} list={laboratories} value={form.laboratory} fault={fault ?? faultOf(problem ? asProblem(problem) : null, "laboratory")} onValue={(laboratory) => setForm({ ...form, laboratory })} />
      <TextField label={t("samples-sent")} type="date" optional value={form.sent_on} onValue={(sent_on) => setForm({ ...form, sent_on })} />
      <TextField label={t("samples-accession")} optional value={form.accession} onValue={(accession) => setForm({ ...form, accession })} />
      <ToSend api={api} />
      {problem !== null && <ProblemNote problem={problem} />}
      <MainAction label={t("samples-save", { n: chosen.length })} run={() => void save()} busy={busy} blocked={chosen.length === 0 ? t("samples-choose-finds") : undefined} />
    </>
  );
}

/** What the laboratory needs, as the slip says it. */
export function ToSend({ api }: Pick<PlaceProps, "api">) {
  const t = useText();
  const { now, problem, again } = useAsked((options) => new Scouting(api).instructions(options), [api]);
  return (
    <section>
      <h2>{t("samples-to-send")}</h2>
      {problem !== null && <ProblemNote problem={problem} onRetry={again} />}
      <ul>
        {now?.send.map((i) => (
          <li key={i.text}>
            {i.text} <span class="soft">({i.source})</span>
          </li>
        ))}
      </ul>
      {now?.cautions.map((c) => (
        <Caution key={c}>{c}</Caution>
      ))}
    </section>
  );
}
