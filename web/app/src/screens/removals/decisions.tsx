import { useEffect, useState } from "preact/hooks";
import { day, language, languages, moment } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { stretches, stretchLines } from "../../rowmap/rowplace";
import { drawnRows } from "../../rowmap/rows";
import { TextArea, TextField } from "../../ui/form";
import { useRecords, useSignal, useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import type { PlaceProps } from "../place";
import { AfterIt } from "./outcome";
import { PlantTable } from "./sign";
import { acknowledge, type Decision, decisionOf } from "./wire";

interface Signed {
  readonly review: Stored<"reviews">;
  readonly decision: Decision;
  readonly supersededBy: string | undefined;
  /** Listed plants a removal took out, "row plant" with its day. */
  readonly out: ReadonlyMap<string, string>;
}

/** Every signed decision, newest first, with what was carried out of it. */
export function useSigned({ farm }: Pick<PlaceProps, "farm">): Signed[] {
  const reviews = useRecords(farm, "reviews");
  const removals = useRecords(farm, "removals");
  const all = reviews.list.flatMap((review) => {
    const decision = decisionOf(review);
    return decision ? [{ review, decision }] : [];
  });
  all.sort((a, b) => b.decision.signed_at.localeCompare(a.decision.signed_at));
  return all.map(({ review, decision }) => {
    const out = new Map<string, string>();
    for (const { feature } of removals.list) {
      const p = feature.properties;
      if (p.review === review.id && p.done_on) for (const at of p.plants) out.set(`${at.row} ${at.plant}`, p.done_on);
    }
    return { review, decision, supersededBy: all.find((o) => o.decision.supersedes === review.id)?.review.id, out };
  });
}

/** The signed decisions, or the one the view names. */
export function Decisions(props: PlaceProps) {
  const t = useText();
  const { farm, address, go } = props;
  const signed = useSigned(props);
  const reviews = useRecords(farm, "reviews");
  useRecords(farm, "blocks");
  const chosen = address.view?.startsWith("decisions:") ? address.view.slice("decisions:".length) : undefined;
  const one = signed.find((s) => s.review.id === chosen);
  if (one) return <OneDecision key={one.review.id} {...props} signed={one} />;
  const nameOf = (id: string) => farm.find("blocks", id)?.feature.properties.name ?? id;
  return (
    <div class="removals">
      <h1>{t("removals-decisions-title")}</h1>
      {reviews.state === "failed" && <ProblemNote problem={reviews.failure} onRetry={() => void farm.load("reviews", true)} />}
      {reviews.state === "loading" && <p>{t("core-loading")}</p>}
      {reviews.state === "ready" && signed.length === 0 && <p>{t("removals-none")}</p>}
      <ul class="plain">
        {signed.map((s) => (
          <li key={s.review.id}>
            <button type="button" class="big" onClick={() => go({ view: `decisions:${s.review.id}`, block: s.decision.block })}>
              <strong>
                {nameOf(s.decision.block)}, {day(s.decision.signed_at, farm.info.zone)}
              </strong>
              <span>{t("removals-line", { name: s.decision.signed_by.name, out: s.out.size, n: s.decision.list.remove.length })}</span>
              <span>{s.supersededBy ? t("removals-superseded") : s.decision.acknowledged ? t("removals-seen-by", { name: s.decision.acknowledged.name }) : t("removals-unseen")}</span>
            </button>
          </li>
        ))}
      </ul>
    </div>
  );
}

function OneDecision(props: PlaceProps & { signed: Signed }) {
  const t = useText();
  const spoken = useSignal(language);
  const { farm, api, map, go, signed } = props;
  const { review, decision, out } = signed;
  const block = farm.find("blocks", decision.block);
  const rows = useRecords(farm, "rows");
  useEffect(() => {
    if (!block) return;
    map.fit([block.feature.geometry]);
    const spacing = block.feature.properties.plant_spacing_m ?? null;
    const drawn = drawnRows(rows.list, block.id, spacing);
    const lines = stretches(decision.list.remove).flatMap((s) => stretchLines(drawn, s, spacing).map((coordinates) => ({ geometry: { type: "LineString" as const, coordinates } })));
    map.setOverlay("removals-list", lines, "group-rows");
    return () => map.setOverlay("removals-list", null);
  }, [map, block?.id, rows.list, review.id]);
  const paper = (name: string, form: "pdf" | "csv" | "geojson", lang?: string) => api.reportPath(name, form, { review: review.id, lang });
  const name = block?.feature.properties.name ?? decision.block;
  return (
    <div class="removals">
      <h1>{t("removals-decision-title", { block: name })}</h1>
      {farm.info.invented && <p class="printed">{t("core-invented")}</p>}
      {signed.supersededBy && <Caution>{t("removals-superseded-note")}</Caution>}
      <p>{t("removals-signed-by", { name: decision.signed_by.name, account: decision.signed_by.account, time: moment(decision.signed_at, farm.info.zone) })}</p>
      <p>{t("removals-said", { reasons: decision.reasons })}</p>
      {decision.list.grounds.map((g, i) => (
        <p key={i}>
          {t(g.whole ? "removals-ground-whole" : "removals-ground-line", {
            first: g.first_row, last: g.last_row, from: g.from, to: g.to, infected: g.infected, inspected: g.inspected,
            lower: (100 * g.lower_one_sided).toFixed(1), limit: (100 * g.limit).toFixed(1), reason: g.reason,
          })}
        </p>
      ))}
      <p>{t("removals-progress", { out: out.size, n: decision.list.remove.length })}</p>
      <Acknowledged {...props} />
      {mayWrite(farm.info.role, "removals") && !signed.supersededBy && decision.list.remove.length > 0 && (
        <p class="no-print">
          <button type="button" class="big main" onClick={() => go({ view: `crew:${review.id}` })}>
            {t("removals-carry-out")}
          </button>
        </p>
      )}
      <PlantTable list={decision.list.remove} out={(row, plant) => { const on = out.get(`${row} ${plant}`); return on ? day(on) : t("removals-still-there"); }} />
      {decision.list.apart.length > 0 && <p>{t("removals-apart", { n: decision.list.apart.length })}</p>}
      <Caution>{t("disease-caution-7")}</Caution>
      <Caution>{t("disease-caution-8")}</Caution>
      <Caution>{t("disease-caution-9")}</Caution>
      <section class="no-print">
        <h2>{t("removals-papers")}</h2>
        <p class="hint">{t("removals-papers-note")}</p>
        <ul>
          {[spoken, ...languages.filter((l) => l !== spoken)].map((l) => (
            <li key={l}>
              <a href={paper("removal-review", "pdf", l)}>{t("removals-report", { language: t(`removals-in-${l}`) })}</a>, <a href={paper("crew-sheet", "pdf", l)}>{t("removals-sheet", { language: t(`removals-in-${l}`) })}</a>
            </li>
          ))}
          <li>
            <a href={paper("removal-list", "csv")}>{t("removals-csv")}</a>, <a href={paper("removal-list", "geojson")}>{t("removals-geojson")}</a>
          </li>
        </ul>
        <button type="button" onClick={() => window.print()}>
          {t("papers-print")}
        </button>
      </section>
      <AfterIt {...props} review={review.id} />
    </div>
  );
}

/** The owner has seen it, or is asked to say so. */
function Acknowledged({ farm, api, signed }: PlaceProps & { signed: Signed }) {
  const t = useText();
  const { review, decision } = signed;
  const [name, setName] = useState("");
  const [text, setText] = useState("");
  const [fault, setFault] = useState<string>();
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const seen = decision.acknowledged;
  if (seen) return <p>{t("removals-seen", { name: seen.name, time: moment(seen.at, farm.info.zone), words: seen.words ?? "" })}</p>;
  if (farm.info.role !== "owner") return <p>{t("removals-unseen")}</p>;
  const send = async () => {
    setFault(name.trim().length < 2 ? t("removals-name-missing") : undefined);
    if (name.trim().length < 2) return;
    setBusy(true);
    setProblem(null);
    try {
      await acknowledge(api, review.id, name.trim(), text.trim());
      await farm.load("reviews", true);
    } catch (thrown) {
      setProblem(thrown);
      setBusy(false);
    }
  };
  return (
    <fieldset class="no-print">
      <legend>{t("removals-acknowledge")}</legend>
      <p class="hint">{t("removals-acknowledge-why")}</p>
      <TextField label={t("removals-name")} value={name} fault={fault} onValue={setName} />
      <TextArea label={t("removals-acknowledge-words")} rows={2} value={text} onValue={setText} />
      {problem !== null && <ProblemNote problem={problem} />}
      <button type="button" class="big" disabled={busy} onClick={() => void send()}>
        {t("removals-acknowledge-now")}
      </button>
    </fieldset>
  );
}
