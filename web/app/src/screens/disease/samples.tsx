import { day, named } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { inSeason } from "../../model/season";
import { MainAction } from "../../ui/action";
import { useRecords, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { DataTable } from "../papers/datatable";
import type { Column } from "../papers/table";
import type { PlaceProps } from "../place";

/** What a sample is called in a list. */
export function sampleName(s: Stored<"samples">, t: ReturnType<typeof useText>): string {
  const { sent_on, laboratory, accession } = s.feature.properties;
  return [sent_on ? day(sent_on) : t("samples-not-sent"), laboratory, accession].filter(Boolean).join(", ");
}

/** What went to laboratories; those without an answer first. */
export function Samples({ farm, address, go }: PlaceProps) {
  const t = useText();
  const samples = useRecords(farm, "samples");
  const list = samples.list.filter((s) => inSeason(s.feature.properties.sent_on, address.season, farm.info.zone));
  const waiting = list.filter((s) => !s.feature.properties.result);
  const columns: Column<Stored<"samples">>[] = [
    { key: "sent", head: t("samples-sent"), cell: (s) => s.feature.properties.sent_on ?? "", show: (s) => (s.feature.properties.sent_on ? day(s.feature.properties.sent_on) : t("samples-not-sent")) },
    { key: "laboratory", head: t("samples-laboratory"), cell: (s) => s.feature.properties.laboratory ?? "" },
    { key: "accession", head: t("samples-accession"), cell: (s) => s.feature.properties.accession ?? "" },
    { key: "finds", head: t("samples-finds"), cell: (s) => s.feature.properties.finds.length },
    { key: "result", head: t("samples-result"), cell: (s) => resultOf(s, t) },
  ];
  return (
    <>
      <h1>{t("samples-title")}</h1>
      {samples.state === "failed" && <ProblemNote problem={samples.failure} onRetry={() => void farm.load("samples", true)} />}
      {samples.state === "loading" && <p>{t("core-loading")}</p>}
      {samples.state === "ready" && list.length === 0 && <p>{t("samples-none")}</p>}
      {list.length > 0 && (
        <>
          <p>{t("samples-waiting", { n: waiting.length })}</p>
          <DataTable
            caption={t("samples-list")}
            columns={columns}
            rows={list}
            keyOf={(s) => s.id}
            file={`${farm.id}-samples`}
            first={{ key: "sent", down: true }}
            onChoose={(s) => go({ view: `sample:${s.id}` })}
            chooseName={(s) => t("samples-open", { sample: sampleName(s, t) })}
          />
        </>
      )}
      {mayWrite(farm.info.role, "samples") && <MainAction label={t("samples-new")} run={() => go({ view: "sample:new" })} />}
    </>
  );
}

/** The laboratory's answer in a word, or that there is none yet. */
export function resultOf(s: Stored<"samples">, t: ReturnType<typeof useText>): string {
  const { result, answer } = s.feature.properties;
  if (!result) return t("samples-no-result");
  return answer ? `${named("samples-answer-", answer)}: ${result}` : result;
}
