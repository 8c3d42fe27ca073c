import { useEffect } from "preact/hooks";
import { type Again as Wire, Scouting } from "../../api/scouting";
import { useAsked } from "../../ui/asked";
import { Choice } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { TakeFile } from "../../ui/take";
import { drawnRows } from "../../rowmap/rows";
import { plantPlace } from "../../rowmap/rowplace";
import { DataTable } from "../papers/datatable";
import type { Column } from "../papers/table";
import type { PlaceProps } from "../place";
import type { Shape } from "../../map/farmmap";
import type { Stored } from "../../model/kinds";

/** Last year's plants, to be looked at again. */
export function Again(props: PlaceProps) {
  const t = useText();
  const { farm, address, go } = props;
  const blocks = useRecords(farm, "blocks");
  const block = farm.find("blocks", address.block);
  return (
    <>
      <h1>{t("samples-again-title")}</h1>
      <Choice
        label={t("disease-block")}
        value={block?.id ?? ""}
        choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))}
        onValue={(id) => go({ block: id })}
      />
      {block ? <OfBlock key={block.id} {...props} block={block} /> : <p>{t("disease-choose-block")}</p>}
    </>
  );
}

type Plant = Wire["plants"][number];

function OfBlock({ farm, api, map, address, go, block }: PlaceProps & { block: Stored<"blocks"> }) {
  const t = useText();
  const finds = useRecords(farm, "finds");
  const rowRecords = useRecords(farm, "rows");
  const spacing = block.feature.properties.plant_spacing_m ?? null;
  const { now, problem, again } = useAsked((options) => new Scouting(api).lookAgain(block.id, address.season, options), [api, block.id, address.season, finds.list]);
  const plants = now?.plants ?? [];
  useEffect(() => map.fit([block.feature.geometry]), [map, block.id]);
  useEffect(() => {
    const rows = drawnRows(rowRecords.list, block.id, spacing);
    const left = plants
      .filter((p) => !p.seen)
      .flatMap((p): Shape[] => {
        const coordinates = plantPlace(rows, p.row, p.plant, spacing);
        return coordinates ? [{ geometry: { type: "Point", coordinates } }] : [];
      });
    map.setOverlay("disease-again", left, "marked");
    return () => map.setOverlay("disease-again", null);
  }, [map, now, rowRecords.list]);
  const columns: Column<Plant>[] = [
    { key: "row", head: t("disease-col-row"), cell: (p) => p.row },
    { key: "plant", head: t("disease-col-plant"), cell: (p) => p.plant },
    { key: "name", head: t("samples-name"), cell: (p) => (p.organism ? `${p.name} (${p.organism})` : p.name) },
    { key: "state", head: t("samples-state"), cell: (p) => t(`walk-state-${p.state}`) },
    { key: "seasons", head: t("samples-seasons"), cell: (p) => p.seasons.join(", ") },
    { key: "seen", head: t("samples-seen"), cell: (p) => t(p.seen ? "core-yes" : "core-no") },
    { key: "why", head: t("disease-col-why"), cell: (p) => p.why },
  ];
  if (problem !== null) return <ProblemNote problem={problem} onRetry={again} />;
  if (!now) return <p>{t("core-loading")}</p>;
  return (
    <>
      {plants.length === 0 ? (
        <p>{t("samples-again-none", { season: String(now.season) })}</p>
      ) : (
        <>
          <p>{t("samples-again-left", { n: plants.filter((p) => !p.seen).length, season: String(now.season) })}</p>
          <DataTable
            caption={t("samples-again-list", { season: String(now.season) })}
            columns={columns}
            rows={plants}
            keyOf={(p) => `${p.row}:${p.plant}:${p.cause}:${p.newest}`}
            file={`${farm.id}-look-again-${now.season}`}
            onChoose={(p) => go({ view: `find:${p.newest}` })}
            chooseName={(p) => t("samples-again-open", { row: String(p.row), plant: String(p.plant) })}
          />
        </>
      )}
      <TakeFile net={api.net} path={api.reportPath("look-again", "pdf", { block: block.id, season: address.season })} file={`${farm.id}-look-again-${now.season}.pdf`} label={t("samples-again-print")} />
      <p class="hint">{now.how}</p>
      <Caution>{t("samples-again-clean")}</Caution>
      <Caution>{t("disease-caution-7")}</Caution>
    </>
  );
}
