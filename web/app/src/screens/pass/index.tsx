import type { Kind } from "../../model/kinds";
import { useRecords, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import type { Place, PlaceProps } from "../place";

const shown: readonly Kind[] = ["passes", "products"];

function Listed({ farm, kind }: { farm: PlaceProps["farm"]; kind: Kind }) {
  const t = useText();
  const { list, state, failure } = useRecords(farm, kind);
  if (state === "failed") return <ProblemNote problem={failure} onRetry={() => void farm.load(kind, true)} />;
  return (
    <ul>
      {list.map((r) => (
        <li key={r.id}>{r.id}</li>
      ))}
      {list.length === 0 && <li>{state === "loading" ? t("core-loading") : t("core-records-empty")}</li>}
    </ul>
  );
}

function Sheet({ farm }: PlaceProps) {
  const t = useText();
  return (
    <>
      <h1>{t("pass-title")}</h1>
      {shown.map((kind) => (
        <section key={kind}>
          <h2>{kind}</h2>
          <Listed farm={farm} kind={kind} />
        </section>
      ))}
    </>
  );
}

export const pass: Place = { name: "pass", Sheet };
