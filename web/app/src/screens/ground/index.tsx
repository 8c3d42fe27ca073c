import { useRecords, useText } from "../../ui/hooks";
import type { Place, PlaceProps } from "../place";

function Sheet({ farm }: PlaceProps) {
  const t = useText();
  const { list } = useRecords(farm, "blocks");
  return (
    <>
      <h1>{t("ground-title")}</h1>
      <ul>
        {list.map((b) => (
          <li key={b.id}>{b.feature.properties.name}</li>
        ))}
      </ul>
    </>
  );
}

export const ground: Place = { name: "ground", Sheet };
