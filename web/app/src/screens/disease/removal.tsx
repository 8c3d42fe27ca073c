import { useState } from "preact/hooks";
import { feature, type PlantAt, type Stored } from "../../model/kinds";
import { mayDecide } from "../../model/rights";
import { uuid7 } from "../../model/uuid7";
import { Check, TextArea, TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import type { PlaceProps } from "../place";
import { type DrawnRow, plantPlace, stretches } from "../../rowmap/rowplace";
import { readPlants, writePlants } from "./plants";

/** What was taken out: plants, roots, where it went and when. */
export function Removal(props: {
  readonly farm: PlaceProps["farm"];
  readonly block: Stored<"blocks">;
  readonly rows: readonly DrawnRow[];
  /** Plants with finds of the last list, for filling in. */
  readonly listed: readonly PlantAt[];
}) {
  const t = useText();
  const { farm, block } = props;
  const [text, setText] = useState("");
  const [roots, setRoots] = useState(false);
  const [disposal, setDisposal] = useState("");
  const [on, setOn] = useState("");
  const [faults, setFaults] = useState<{ plants?: string; on?: string }>({});
  const [problem, setProblem] = useState<unknown>(null);
  const [id, setId] = useState(uuid7);
  const read = readPlants(text);
  if (!mayDecide(farm.info.role)) return null;

  const save = async () => {
    const wrong: typeof faults = {};
    if (!read.ok) wrong.plants = t("disease-removal-bad", { word: read.word });
    else if (read.plants.length === 0) wrong.plants = t("disease-removal-none");
    if (!on) wrong.on = t("disease-removal-date");
    setFaults(wrong);
    setProblem(null);
    if (!read.ok || Object.keys(wrong).length > 0) return;
    const spacing = block.feature.properties.plant_spacing_m ?? null;
    const coordinates = read.plants.flatMap((p) => {
      const at = plantPlace(props.rows, p.row, p.plant, spacing);
      return at ? [at] : [];
    });
    // A shape that leaves plants out would read as if they still stood.
    const drawn = coordinates.length === read.plants.length;
    try {
      await farm.put(
        "removals",
        feature<"removals">(id, drawn ? { type: "MultiPoint", coordinates } : null, {
          block: block.id,
          plants: read.plants,
          roots_out: roots,
          done_on: on,
          ...(disposal.trim() ? { disposal: disposal.trim() } : {}),
        }),
        null,
      );
      setId(uuid7());
      setText("");
      setDisposal("");
      say(t("disease-removal-saved"));
    } catch (thrown) {
      setProblem(thrown);
    }
  };

  return (
    <details>
      <summary>{t("disease-removal")}</summary>
      <p class="hint">{t("disease-removal-why")}</p>
      <Caution>{t("disease-caution-7")}</Caution>
      <Caution>{t("disease-caution-8")}</Caution>
      <Caution>{t("disease-caution-9")}</Caution>
      <TextArea
        label={t("disease-removal-plants")}
        hint={t("disease-removal-plants-how")}
        rows={3}
        value={text}
        fault={faults.plants}
        onValue={setText}
      />
      {props.listed.length > 0 && (
        <button type="button" onClick={() => setText(writePlants(stretches(props.listed)))}>
          {t("disease-removal-fill")}
        </button>
      )}
      <Check label={t("disease-removal-roots")} checked={roots} onChecked={setRoots} />
      <TextField label={t("disease-removal-disposal")} optional value={disposal} onValue={setDisposal} />
      <TextField label={t("disease-removal-done")} type="date" value={on} fault={faults.on} onValue={setOn} />
      {problem !== null && <ProblemNote problem={problem} />}
      <button type="button" onClick={() => void save()}>
        {t("disease-removal-save", { n: read.ok ? read.plants.length : 0 })}
      </button>
    </details>
  );
}
