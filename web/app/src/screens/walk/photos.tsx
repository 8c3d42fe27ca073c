import { useEffect, useState } from "preact/hooks";
import { Problem } from "../../api/problem";
import { number } from "../../i18n";
import type { NewPhoto } from "../../model/farm";
import { uuid7 } from "../../model/uuid7";
import { useText } from "../../ui/hooks";
import { mostPhotos, NoPicture, shrink } from "./photo";

/** Photos of the find being entered: taken, shrunk, shown, left out again. */
export function Photos({ photos, onPhotos, onProblem }: { photos: readonly NewPhoto[]; onPhotos: (next: readonly NewPhoto[]) => void; onProblem: (thrown: unknown) => void }) {
  const t = useText();
  const [busy, setBusy] = useState(false);
  const take = async (files: readonly File[]) => {
    setBusy(true);
    try {
      const made: NewPhoto[] = [];
      for (const file of files.slice(0, mostPhotos - photos.length)) made.push({ id: uuid7(), blob: await shrink(file) });
      onPhotos([...photos, ...made]);
    } catch (thrown) {
      onProblem(thrown instanceof NoPicture ? new Problem({ status: 0, title: t("walk-photo-none") }) : thrown);
    } finally {
      setBusy(false);
    }
  };
  return (
    <div class="photos">
      {photos.length < mostPhotos && (
        <label class="file-button">
          <span>{busy ? t("walk-photo-busy") : t("walk-photo-take")}</span>
          <input
            type="file"
            accept="image/*"
            capture="environment"
            disabled={busy}
            onChange={(e) => {
              const input = e.currentTarget;
              void take([...(input.files ?? [])]).then(() => (input.value = ""));
            }}
          />
        </label>
      )}
      {photos.map((p, i) => (
        <Taken key={p.id} photo={p} name={t("walk-photo", { n: i + 1, kb: number(p.blob.size / 1000) })} onDrop={() => onPhotos(photos.filter((o) => o.id !== p.id))} />
      ))}
    </div>
  );
}

function Taken({ photo, name, onDrop }: { photo: NewPhoto; name: string; onDrop: () => void }) {
  const t = useText();
  const [url, setUrl] = useState<string>();
  useEffect(() => {
    const made = URL.createObjectURL(photo.blob);
    setUrl(made);
    return () => URL.revokeObjectURL(made);
  }, [photo]);
  return (
    <figure class="photo">
      {url && <img src={url} alt={name} />}
      <button type="button" class="big" aria-label={t("walk-photo-drop", { name })} onClick={onDrop}>
        ✕
      </button>
    </figure>
  );
}
