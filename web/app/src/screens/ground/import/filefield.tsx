import { useState } from "preact/hooks";
import { useText } from "../../../ui/hooks";

const formats = ".geojson,.json,.geojsonl,.ndjson,.geojsonseq,.kml,.kmz,.gpx,.zip,.gpkg,.csv,.tsv,.txt,.wkt";

/** Takes one file, dropped or chosen. */
export function FileField({ file, onFile }: { file: File | null; onFile: (f: File) => void }) {
  const t = useText();
  const [over, setOver] = useState(false);
  const taken = (f: File | undefined) => {
    if (f) onFile(f);
  };
  return (
    <div
      class={over ? "drop over" : "drop"}
      onDragOver={(e) => {
        e.preventDefault();
        setOver(true);
      }}
      onDragLeave={() => setOver(false)}
      onDrop={(e) => {
        e.preventDefault();
        setOver(false);
        taken(e.dataTransfer?.files[0]);
      }}
    >
      <div class="field">
        <label for="import-file">{t("imports-file")}</label>
        <input id="import-file" type="file" accept={formats} aria-describedby="import-file-hint import-formats" onChange={(e) => taken(e.currentTarget.files?.[0])} />
        <p class="hint" id="import-file-hint">
          {file ? file.name : t("imports-drop")}
        </p>
      </div>
      <p class="hint" id="import-formats">
        {t("imports-formats")}
      </p>
    </div>
  );
}
