import { moment } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { inSeason } from "../../model/season";
import { useRecords, useText, useUnits } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { squareMetresPerAcre, squareMetresPerHectare, area } from "../../units";
import { MayIBoard } from "../mayi/board";
import { DataTable } from "../papers/datatable";
import type { Column } from "../papers/table";
import type { Place, PlaceProps } from "../place";
import { blockNames, OnePass } from "./onepass";
import { CalcPage } from "./calcpage";
import { Labels, OneLabel } from "./labelform";
import { Planner } from "./planner";
import { Sprayers } from "./sprayers";
import { type Named, productName } from "./result";
import { passMoment, saved } from "./saved";
import "./pass.css";

const parts = ["plan", "labels", "sprayers", "calc"] as const;

function Sheet(props: PlaceProps) {
  const t = useText();
  const { farm, address, go } = props;
  const blocks = useRecords(farm, "blocks");
  const products = useRecords(farm, "products");
  const surroundings = useRecords(farm, "surroundings");
  const passes = useRecords(farm, "passes");
  const named: Named = { blocks: blocks.list, products: products.list, surroundings: surroundings.list };
  const chosen = address.view?.startsWith("pass:") ? farm.find("passes", address.view.slice(5)) : undefined;
  const view = address.view ?? "";
  const here: (typeof parts)[number] = view.startsWith("label") ? "labels" : view.startsWith("calc") ? "calc" : view === "sprayers" ? "sprayers" : "plan";
  const failed = [blocks, products, surroundings, passes].find((r) => r.state === "failed");
  return (
    <div class="pass">
      <h1>{t(`pass-title-${here}`)}</h1>
      {failed && <ProblemNote problem={failed.failure} onRetry={() => (["blocks", "products", "surroundings", "passes"] as const).forEach((k) => void farm.load(k, true))} />}
      <nav class="parts" aria-label={t("pass-tabs")}>
        {parts.map((part) => (
          <button key={part} type="button" class="link" aria-current={here === part ? "page" : undefined} onClick={() => go({ view: part === "plan" ? undefined : part })}>
            {t(`pass-tab-${part}`)}
          </button>
        ))}
      </nav>
      {here === "labels" ? (
        view.startsWith("label:") ? (
          products.state === "ready" && <OneLabel key={view} {...props} product={products.list.find((p) => p.id === view.slice(6))} />
        ) : (
          <Labels {...props} products={products.list} />
        )
      ) : here === "calc" ? (
        <CalcPage {...props} />
      ) : here === "sprayers" ? (
        <Sprayers {...props} />
      ) : chosen ? (
        <OnePass {...props} pass={chosen} named={named} />
      ) : (
        <>
          <MayIBoard {...props} products={products.list} />
          <List {...props} passes={passes.list} named={named} ready={passes.state === "ready"} />
          {mayWrite(farm.info.role, "passes") ? (
            <Planner {...props} named={named} onSaved={(id) => go({ view: `pass:${id}` })} />
          ) : (
            <p class="hint">{t("pass-not-yours")}</p>
          )}
        </>
      )}
    </div>
  );
}

function List({ farm, address, go, passes, named, ready }: PlaceProps & { passes: readonly Stored<"passes">[]; named: Named; ready: boolean }) {
  const t = useText();
  const system = useUnits();
  const zone = farm.info.zone;
  const shown = passes.filter((p) => inSeason(passMoment(saved(p)), address.season, zone));
  const products = (p: Stored<"passes">) =>
    (saved(p).products ?? []).map((l) => (typeof l.product === "string" ? productName(named, { product: l.product }) : l.product.name)).join(", ");
  const treated = (p: Stored<"passes">) => saved(p).areas?.treated_m2 ?? null;
  const per = system === "us" ? squareMetresPerAcre : squareMetresPerHectare;
  const columns: Column<Stored<"passes">>[] = [
    { key: "date", head: t("pass-col-date"), cell: (p) => passMoment(saved(p)), show: (p) => moment(passMoment(saved(p)), zone) },
    { key: "state", head: t("pass-col-state"), cell: (p) => t(`pass-state-${saved(p).state}`) },
    { key: "blocks", head: t("pass-col-blocks"), cell: (p) => blockNames(saved(p), named) },
    { key: "products", head: t("pass-col-products"), cell: products },
    {
      key: "treated",
      head: t("pass-col-treated", { unit: system === "us" ? "ac" : "ha" }),
      cell: (p) => {
        const m2 = treated(p);
        return m2 === null ? null : m2 / per;
      },
      show: (p) => {
        const m2 = treated(p);
        return m2 === null ? "" : area(m2).replace(/\s\w+$/, "");
      },
    },
  ];
  if (ready && shown.length === 0) {
    return (
      <>
        <h2>{t("pass-list")}</h2>
        <p>{t("pass-list-none")}</p>
      </>
    );
  }
  return (
    <DataTable
      caption={t("pass-list")}
      columns={columns}
      rows={shown}
      keyOf={(p) => p.id}
      file={`${farm.id}-passes`}
      first={{ key: "date", down: true }}
      onChoose={(p) => go({ view: `pass:${p.id}` })}
      chooseName={(p) => t("pass-open", { date: moment(passMoment(saved(p)), zone), products: products(p) })}
    />
  );
}

export const pass: Place = { name: "pass", Sheet };
