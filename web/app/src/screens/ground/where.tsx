import { useState } from "preact/hooks";
import { readPair } from "../../geo/cornertext";
import type { FarmMap } from "../../map/farmmap";
import { TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";

/** Takes the map of an empty farm to its ground: a typed place, or where the device says it is. */
export function Where({ map }: { readonly map: FarmMap }) {
  const t = useText();
  const [text, setText] = useState("");
  const [fault, setFault] = useState<string | undefined>(undefined);
  const [asking, setAsking] = useState(false);

  const show = () => {
    const read = readPair(text);
    if (typeof read === "string") {
      setFault(t(`ground-corner-${read}`, { line: "1" }));
      return;
    }
    setFault(undefined);
    map.goTo(read);
  };
  const here = () => {
    setAsking(true);
    const done = (said?: string) => {
      setAsking(false);
      setFault(said);
    };
    if (!("geolocation" in navigator)) {
      done(t("ground-where-denied"));
      return;
    }
    navigator.geolocation.getCurrentPosition(
      (p) => {
        done();
        map.goTo([p.coords.longitude, p.coords.latitude]);
      },
      () => done(t("ground-where-denied")),
      { enableHighAccuracy: true, timeout: 20_000 },
    );
  };
  return (
    <section>
      <h2>{t("ground-where")}</h2>
      <TextField label={t("ground-place-label")} hint={t("ground-where-hint")} fault={fault} value={text} onValue={setText} />
      <div class="buttons">
        <button type="button" onClick={show} disabled={text.trim() === ""}>
          {t("ground-where-show")}
        </button>
        <button type="button" onClick={here} disabled={asking} aria-busy={asking}>
          {t("ground-where-here")}
        </button>
      </div>
    </section>
  );
}
