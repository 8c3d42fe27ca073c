import { useEffect } from "preact/hooks";
import { Choice } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import type { Place, PlaceProps } from "../place";
import { Review } from "./review";
import { besideGroups, Views } from "./views";
import "./disease.css";

function Sheet(props: PlaceProps) {
  const t = useText();
  const { farm, map, address, go } = props;
  const blocks = useRecords(farm, "blocks");
  useEffect(
    () =>
      map.onPick((pick) => {
        if (pick?.layer === "finds") {
          const of = farm.find("finds", pick.id)?.feature.properties.block;
          go({ view: `find:${pick.id}`, ...(of ? { block: of } : {}) });
        } else if (pick?.layer === "blocks") {
          go({ block: pick.id, view: undefined });
        }
      }),
    [map, go, farm],
  );
  const block = farm.find("blocks", address.block);
  const Beside = besideGroups(address.view);
  if (Beside) {
    return (
      <div class="disease">
        <Views {...props} />
        <Beside {...props} />
      </div>
    );
  }
  return (
    <div class="disease">
      <Views {...props} />
      <h1>{t("disease-title")}</h1>
      {blocks.state === "failed" && <ProblemNote problem={blocks.failure} onRetry={() => void farm.load("blocks", true)} />}
      {blocks.state === "ready" && blocks.list.length === 0 && <p>{t("walk-no-blocks")}</p>}
      {blocks.list.length > 0 && (
        <Choice
          label={t("disease-block")}
          value={block?.id ?? ""}
          choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))}
          onValue={(id) => go({ block: id, view: undefined })}
        />
      )}
      {blocks.list.length > 0 && !block && <p>{t("disease-choose-block")}</p>}
      {block && <Review key={block.id} {...props} block={block} />}
    </div>
  );
}

export const disease: Place = { name: "disease", Sheet };
