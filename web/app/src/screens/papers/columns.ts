import { day, moment, named, number, t } from "../../i18n";
import type { Kind, Stored } from "../../model/kinds";
import type { Column } from "./table";

/** What columns need to know beside the record. */
export interface About {
  readonly zone: string;
  /** The name of a block by its id. */
  readonly block: (id: string) => string;
}

type Props = Readonly<Record<string, unknown>>;
type Row = Stored;

const props = (r: Row) => r.feature.properties as unknown as Props;
const text = (v: unknown) => (typeof v === "string" ? v : v === undefined || v === null ? null : String(v));
const amount = (v: unknown) => (typeof v === "number" ? v : null);
const listed = (v: unknown) => (Array.isArray(v) ? v : []);

/** The columns of a kind; every table ends with who wrote last and when. */
export function columnsOf(kind: Kind, about: About): Column<Row>[] {
  const plain = (key: string, head: string): Column<Row> => ({ key, head, cell: (r) => text(props(r)[key]) });
  const figure = (key: string, head: string): Column<Row> => ({ key, head, cell: (r) => amount(props(r)[key]) });
  const date = (key: string, head: string): Column<Row> => ({
    key,
    head,
    cell: (r) => text(props(r)[key]),
    show: (r) => {
      const v = text(props(r)[key]);
      return v === null ? "" : v.length > 10 ? moment(v, about.zone) : day(v);
    },
  });
  const block: Column<Row> = { key: "block", head: t("papers-col-block"), cell: (r) => about.block(text(props(r)["block"]) ?? "") };
  const word = (key: string, head: string, prefix: string): Column<Row> => ({
    key,
    head,
    cell: (r) => {
      const v = text(props(r)[key]);
      return v === null ? null : named(prefix, v);
    },
  });
  const count = (key: string, head: string): Column<Row> => ({ key, head, cell: (r) => listed(props(r)[key]).length });
  const of: Record<Kind, () => Column<Row>[]> = {
    blocks: () => [
      plain("name", t("papers-col-name")),
      word("crop", t("papers-col-crop"), "ground-crop-"),
      plain("cultivar", t("papers-col-cultivar")),
      date("planted_on", t("papers-col-planted")),
      figure("row_spacing_m", t("papers-col-row-spacing")),
      figure("plant_spacing_m", t("papers-col-plant-spacing")),
      figure("row_bearing_deg", t("papers-col-bearing")),
    ],
    rows: () => [block, figure("number", t("papers-col-row")), figure("plants", t("papers-col-plants")), count("missing", t("papers-col-missing"))],
    surroundings: () => [plain("name", t("papers-col-name")), word("kind", t("papers-col-kind"), "pass-surroundings-"), yes("drawn_by_eye", t("papers-col-by-eye"))],
    stages: () => [block, plain("stage", t("papers-col-stage")), date("on", t("papers-col-on"))],
    visits: () => [
      date("started_at", t("papers-col-started")),
      block,
      plain("purpose", t("papers-col-purpose")),
      date("ended_at", t("papers-col-ended")),
      { key: "inspected", head: t("papers-col-inspected"), cell: (r) => inspectedText(props(r)["inspected"]) },
    ],
    finds: () => [
      date("found_at", t("papers-col-found")),
      block,
      figure("row", t("papers-col-row")),
      figure("plant", t("papers-col-plant")),
      word("cause", t("papers-col-cause"), "walk-cause-"),
      word("state", t("papers-col-state"), "walk-state-"),
      figure("severity", t("papers-col-severity")),
      plain("words", t("papers-col-words")),
    ],
    samples: () => [
      date("sent_on", t("papers-col-sent")),
      plain("laboratory", t("papers-col-laboratory")),
      plain("accession", t("papers-col-accession")),
      plain("method", t("papers-col-method")),
      plain("result", t("papers-col-result")),
      date("result_on", t("papers-col-result-on")),
      count("finds", t("papers-col-finds")),
    ],
    removals: () => [
      date("done_on", t("papers-col-done")),
      block,
      count("plants", t("papers-col-plants")),
      yes("roots_out", t("papers-col-roots")),
      plain("disposal", t("papers-col-disposal")),
      count("checks", t("papers-col-checks")),
    ],
    reviews: () => [block],
    products: () => [
      plain("name", t("papers-col-name")),
      plain("registration", t("papers-col-registration")),
      { key: "ingredients", head: t("papers-col-ingredients"), cell: (r) => listed(props(r)["ingredients"]).map((i: { name?: string }) => i.name ?? "").join(", ") },
      figure("phi_days", t("papers-col-phi")),
      figure("rei_hours", t("papers-col-rei")),
      yes("restricted", t("papers-col-restricted")),
    ],
    passes: () => [
      {
        key: "started_at",
        head: t("papers-col-started"),
        cell: (r) => text(props(r)["started_at"] ?? props(r)["start"]),
        show: (r) => moment(text(props(r)["started_at"] ?? props(r)["start"]) ?? "", about.zone),
      },
      word("state", t("papers-col-state"), "pass-state-"),
      word("pattern", t("papers-col-pattern"), "pass-pattern-"),
      { key: "blocks", head: t("papers-col-block"), cell: (r) => listed(props(r)["blocks"]).map((b) => about.block(String(b))).join(", ") },
      { key: "treated", head: t("papers-col-treated"), cell: (r) => amount((props(r)["areas"] as Props | undefined)?.["treated_m2"]), show: (r) => area(props(r), "treated_m2") },
      { key: "covered", head: t("papers-col-covered"), cell: (r) => amount((props(r)["areas"] as Props | undefined)?.["covered_m2"]), show: (r) => area(props(r), "covered_m2") },
    ],
    tracks: () => [figure("width_m", t("papers-col-width")), plain("pass", t("papers-col-pass"))],
  };
  return [...of[kind](), revision()];
}

function area(p: Props, key: string): string {
  const v = amount((p["areas"] as Props | undefined)?.[key]);
  return v === null ? "" : number(v, 1);
}

function yes(key: string, head: string): Column<Row> {
  return {
    key,
    head,
    cell: (r) => {
      const v = props(r)[key];
      return typeof v === "boolean" ? t(v ? "core-yes" : "core-no") : null;
    },
  };
}

function revision(): Column<Row> {
  return { key: "revision", head: t("papers-col-revision"), cell: (r) => r.revision };
}

/** What a visit looked at, in the form the scout types it. */
export function inspectedText(inspected: unknown): string {
  return listed(inspected)
    .map((s: { rows?: string; row?: number; from?: number; to?: number }) =>
      s.rows === "all" ? t("papers-all-rows") : s.from === undefined ? String(s.row) : `${s.row}:${s.from}-${s.to}`,
    )
    .join(", ");
}

/** The moment a record stands under, for the season filter; empty for what has none. */
export function momentOf(r: Row): string {
  const p = props(r);
  for (const key of ["started_at", "start", "found_at", "on", "sent_on", "done_on", "ended_at"]) {
    const v = p[key];
    if (typeof v === "string" && v) return v;
  }
  return "";
}

/** What a record is called in a sentence. */
export function nameOf(r: Row, about: About): string {
  const p = props(r);
  const name = text(p["name"]);
  if (name) return name;
  const at = momentOf(r);
  const block = text(p["block"]);
  const row = p["row"] ?? p["number"];
  return [
    block && about.block(block),
    row !== undefined && t("papers-row", { n: String(row) }),
    p["plant"] !== undefined && t("papers-plant", { n: String(p["plant"]) }),
    at && (at.length > 10 ? moment(at, about.zone) : day(at)),
    typeof p["cause"] === "string" && named("walk-cause-", p["cause"]),
  ]
    .filter(Boolean)
    .join(", ") || r.id;
}
