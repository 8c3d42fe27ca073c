import { useEffect } from "preact/hooks";
import { mayWrite } from "../../model/rights";
import { useRecords, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import type { Place, PlaceProps } from "../place";
import { BlockEditor } from "./blockform";
import { BlockSheet } from "./block";
import { HistorySheet } from "./history";
import { ImportLater } from "./import/later";
import { StoredBars } from "./import/stored";
import { GroundList } from "./list";
import { NearEditor } from "./near";
import { PlantingLater } from "./planting/later";
import "./ground.css";

// Views: none is the list, or the block of the address; then "new", "edit",
// "rows", "plants", "history", "import", "round", "near" (new) and "near:ID".
function Sheet(props: PlaceProps) {
  return (
    <>
      <StoredBars {...props} />
      <View {...props} />
    </>
  );
}

function View(props: PlaceProps) {
  const { farm, map, address, go } = props;
  const t = useText();
  const blocks = useRecords(farm, "blocks");
  const near = useRecords(farm, "surroundings");
  const block = blocks.list.find((b) => b.id === address.block);
  const view = address.view ?? "";

  useEffect(
    () =>
      map.onPick((pick) => {
        // The sheet of an import hears taps itself; one on a block leads nowhere then,
        // nor while a walk is recorded, nor where rows and plants are tapped.
        if (["import", "round", "rows", "plants"].includes(view)) return;
        if (pick?.layer === "blocks") go({ block: pick.id, view: undefined });
        else if (pick?.layer === "rows") {
          const row = farm.find("rows", pick.id);
          if (row) go({ block: row.feature.properties.block, view: undefined });
        } else if (pick?.layer === "surroundings") go({ view: `near:${pick.id}` });
      }),
    [map, farm, go, view],
  );
  useEffect(() => {
    const drawing = ["new", "edit", "near", "rows", "plants"].includes(view);
    map.choose(address.block && !drawing ? { layer: "blocks", id: address.block } : null);
    return () => map.choose(null);
  }, [map, address.block, view, blocks.list]);

  if (blocks.state === "failed" && blocks.list.length === 0) {
    return <ProblemNote problem={blocks.failure} onRetry={() => void farm.load("blocks", true)} />;
  }
  if (blocks.state === "idle" || (blocks.state === "loading" && blocks.list.length === 0)) return <p>{t("core-loading")}</p>;
  if (view.startsWith("near")) {
    const id = view.slice("near:".length);
    const thing = near.list.find((s) => s.id === id);
    if (id && !thing) return near.state === "ready" ? <GroundList {...props} /> : <p>{t("core-loading")}</p>;
    return <NearEditor key={view} {...props} near={thing ?? null} />;
  }
  if (view === "import" && mayWrite(farm.info.role, "blocks")) return <ImportLater {...props} sheet="file" />;
  if (view === "round" && mayWrite(farm.info.role, "blocks")) return <ImportLater {...props} sheet="round" />;
  if (view === "new" && mayWrite(farm.info.role, "blocks")) return <BlockEditor key="new" {...props} block={null} />;
  if (!address.block) return <GroundList {...props} />;
  if (!block) {
    return (
      <>
        <p>{t("ground-unknown")}</p>
        <GroundList {...props} />
      </>
    );
  }
  if (view === "edit" && mayWrite(farm.info.role, "blocks")) return <BlockEditor key={`edit ${block.id}`} {...props} block={block} />;
  if (view === "rows" || view === "plants") return <PlantingLater key={`${view} ${block.id}`} {...props} sheet={view} block={block} />;
  if (view === "history") return <HistorySheet key={block.id} {...props} block={block} />;
  return <BlockSheet key={block.id} {...props} block={block} />;
}

export const ground: Place = { name: "ground", Sheet };
