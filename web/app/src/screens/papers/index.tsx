import { useEffect, useState } from "preact/hooks";
import { day } from "../../i18n";
import { type Kind, kinds, type Stored } from "../../model/kinds";
import { inSeason } from "../../model/season";
import { Choice } from "../../ui/form";
import { useRecords, useSignal, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { KeptFarm } from "../keep";
import { PeopleScreen } from "../people";
import type { Place, PlaceProps } from "../place";
import { RecordsDue } from "../mayi/duescreen";
import { PastCounts } from "../scoutplan/counts";
import { Programmes } from "../scoutplan/programmes";
import { columnsOf, momentOf, nameOf } from "./columns";
import { DataTable } from "./datatable";
import { Exports } from "./exports";
import { Revisions } from "./revisions";
import "./papers.css";

/** Kinds the server makes a report of. */
const reports = ["blocks", "finds", "passes"] as const;

/** Kinds whose first column is a day: the newest stands first. */
const newestFirst: readonly Kind[] = ["visits", "finds", "samples", "removals", "passes"];

/** The view is the kind, with the chosen record's id after a colon. */
function readView(view: string | undefined): { kind: Kind; id: string | undefined } {
  const [kind, id] = (view ?? "").split(":");
  return { kind: kinds.find((k) => k === kind) ?? "blocks", id: id || undefined };
}

function Sheet(props: PlaceProps) {
  const view = props.address.view ?? "";
  if (view === "keeping") return <Beside {...props} Screen={KeptFarm} />;
  if (view === "people") return <Beside {...props} Screen={PeopleScreen} />;
  if (view === "counts") return <Beside {...props} Screen={PastCounts} />;
  if (view === "due") return <Beside {...props} Screen={RecordsDue} />;
  if (view.startsWith("programmes")) return <Beside {...props} Screen={Programmes} />;
  return <Tables {...props} />;
}

/** Counting, with the way back to the tables. */
function Beside({ Screen, ...props }: PlaceProps & { Screen: typeof PastCounts }) {
  const t = useText();
  return (
    <div class="papers">
      <button type="button" class="link" onClick={() => props.go({ view: props.address.view?.includes(":") ? "programmes" : undefined })}>
        {t(props.address.view?.includes(":") ? "scoutplan-to-programmes" : "scoutplan-to-papers")}
      </button>
      <Screen {...props} />
    </div>
  );
}

function Tables(props: PlaceProps) {
  const t = useText();
  const { farm, map, address, go } = props;
  const { kind, id } = readView(address.view);
  const records = useRecords(farm, kind);
  const blocks = useRecords(farm, "blocks");
  const about = {
    zone: farm.info.zone,
    block: (block: string) => blocks.list.find((b) => b.id === block)?.feature.properties.name ?? block,
  };
  // A record without a moment of its own belongs to every season.
  const ofSeason = records.list.filter((r) => inSeason(momentOf(r), address.season, farm.info.zone));
  const rows = ofSeason.filter((r) => !address.block || kind === "blocks" || ofBlock(r, address.block));
  const columns = columnsOf(kind, about);
  const chosen = records.list.find((r) => r.id === id);
  const choose = (r: Stored) => {
    go({ view: `${kind}:${r.id}` });
    if (r.feature.geometry) map.fit([r.feature.geometry]);
  };
  return (
    <div class="papers">
      <h1>{t("papers-title")}</h1>
      <div class="buttons">
        <button type="button" onClick={() => go({ view: "due" })}>
          {t("mayi-due-open-list")}
        </button>
        <button type="button" onClick={() => go({ view: "programmes" })}>
          {t("scoutplan-programmes")}
        </button>
        <button type="button" onClick={() => go({ view: "counts" })}>
          {t("scoutplan-past-counts")}
        </button>
        <button type="button" onClick={() => go({ view: "people" })}>
          {t("people-open")}
        </button>
        {farm.info.role === "owner" && (
          <button type="button" onClick={() => go({ view: "keeping" })}>
            {t("keep-open")}
          </button>
        )}
      </div>
      <p class="print-only">
        {farm.info.name}, {t("core-shown-on", { date: day(new Date().toISOString(), farm.info.zone) })}
        {farm.info.invented && `. ${t("core-invented")}`}
      </p>
      <Choice label={t("papers-kind")} value={kind} choices={kinds.map((k) => ({ value: k, label: t(`papers-kind-${k}`) }))} onValue={(k) => go({ view: k })} />
      {blocks.list.length > 0 && kind !== "blocks" && (
        <Choice
          label={t("papers-of-block")}
          value={address.block ?? ""}
          empty={t("papers-every-block")}
          choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))}
          onValue={(block) => go({ block: block || undefined })}
        />
      )}
      {records.state === "failed" && <ProblemNote problem={records.failure} onRetry={() => void farm.load(kind, true)} />}
      {records.state === "loading" && <p>{t("core-loading")}</p>}
      {records.state === "ready" && rows.length === 0 && <p>{t(`papers-none-${kind}`)}</p>}
      {rows.length > 0 && (
        <DataTable
          key={kind}
          caption={t(`papers-kind-${kind}`)}
          columns={columns}
          rows={rows}
          keyOf={(r) => r.id}
          first={newestFirst.includes(kind) ? { key: columns[0]?.key ?? "", down: true } : undefined}
          file={`${farm.id}-${kind}`}
          chosen={id}
          onChoose={choose}
        />
      )}
      {chosen ? (
        <Revisions {...props} kind={kind} id={chosen.id} name={nameOf(chosen, about)} newest={chosen.revision} />
      ) : (
        rows.length > 0 && <p class="hint">{t("papers-choose")}</p>
      )}
      <Elsewhere {...props} kind={kind} />
    </div>
  );
}

function ofBlock(r: Stored, block: string): boolean {
  const p = r.feature.properties as { block?: string; blocks?: string[] };
  return p.block === undefined && p.blocks === undefined ? true : p.block === block || (p.blocks?.includes(block) ?? false);
}

/** Whole reports, addresses for a GIS, and how far the book of changes goes. */
function Elsewhere({ farm, api, kind }: PlaceProps & { kind: Kind }) {
  const t = useText();
  const held = useSignal(farm.records(kind)).list;
  const [sequence, setSequence] = useState<number | null>(null);
  useEffect(() => {
    const stop = new AbortController();
    api.changesAfter(0, 1, { signal: stop.signal }).then(
      (got) => setSequence(got.sequence),
      // The count is a side note: without an answer it is not shown.
      () => setSequence(null),
    );
    return () => stop.abort();
  }, [api, held]);
  return (
    <section class="no-print">
      <h2>{t("papers-reports")}</h2>
      <p class="hint">{t("papers-reports-note")}</p>
      <ul>
        {reports.map((name) => (
          <li key={name}>
            {t(`papers-kind-${name}`)}: <a href={api.reportPath(name, "csv")}>{t("papers-as-csv", { what: t(`papers-kind-${name}`) })}</a>,{" "}
            <a href={api.reportPath(name, "geojson")}>{t("papers-as-geojson", { what: t(`papers-kind-${name}`) })}</a>
          </li>
        ))}
      </ul>
      <Exports api={api} kind={kind} />
      <p>
        <a href={api.path("collections")}>{t("papers-collections")}</a>. {t("papers-collections-note")}
      </p>
      {sequence !== null && <p>{t("papers-sequence", { n: sequence })}</p>}
      <h2>{t("papers-people")}</h2>
      <p>{t("papers-you", { name: farm.who.person.display || farm.who.person.name, role: t(`core-role-${farm.info.role}`), farm: farm.info.name })}</p>
      <button type="button" onClick={() => window.print()}>
        {t("papers-print")}
      </button>
    </section>
  );
}

export const papers: Place = { name: "papers", Sheet };
