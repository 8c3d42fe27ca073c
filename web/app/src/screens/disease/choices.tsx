import { number } from "../../i18n";
import { useText } from "../../ui/hooks";
import { length } from "../../units";
import type { Choice } from "./answer";
import { spoken } from "./evidence";

const same = (a: Choice, b: Choice) => a.name === b.name && a.group === b.group;

/** The whole list's cost in one line that stays in sight while settings are changed. */
export function CostLine(props: { readonly choices: readonly Choice[]; readonly before: readonly Choice[] | null }) {
  const t = useText();
  const of = (list: readonly Choice[] | null) => list?.find((c) => c.name === "margin");
  const [now, was] = [of(props.choices), of(props.before)];
  if (!now) return null;
  const more = was ? now.plants - was.plants : 0;
  return (
    <p class="cost-line" role="status">
      {t("disease-cost-line", {
        n: now.plants,
        row: now.row_length_m === null ? "–" : length(now.row_length_m),
        share: now.share_of_block === null ? "–" : number(100 * now.share_of_block, 1),
      })}
      {was && ` ${more === 0 ? t("disease-cost-same") : t("disease-cost-change", { change: `${more > 0 ? "+" : "−"}${number(Math.abs(more))}` })}`}
    </p>
  );
}

/** What each choice would take, beside the settings it follows from, and what the last change of them did. */
export function Choices(props: { readonly choices: readonly Choice[]; readonly before: readonly Choice[] | null }) {
  const t = useText();
  const { choices, before } = props;
  const name = (c: Choice) => t(`disease-choice-${c.name}`, { n: c.group === null ? "" : String(spoken(c.group)) });
  const change = (c: Choice) => {
    const was = before?.find((b) => same(b, c));
    if (!before) return "–";
    if (!was) return t("disease-choice-new");
    const more = c.plants - was.plants;
    return more === 0 ? t("disease-choice-same") : `${more > 0 ? "+" : "−"}${number(Math.abs(more))}`;
  };
  return (
    <section class="choices">
      <h2>{t("disease-choices")}</h2>
      <div class="table-scroll" role="region" aria-label={t("disease-choices")} tabIndex={0}>
        <table>
          <caption class="hidden">{t("disease-choices")}</caption>
          <thead>
            <tr>
              <th scope="col">{t("disease-choice")}</th>
              <th scope="col" class="num">{t("disease-choice-plants")}</th>
              <th scope="col" class="num">
                {t("disease-choice-row")}
                <br />
                {t("disease-choice-share")}
              </th>
              <th scope="col" class="num">{t("disease-choice-change")}</th>
            </tr>
          </thead>
          <tbody>
            {choices.map((c) => (
              <tr key={`${c.name} ${c.group}`}>
                <th scope="row">{name(c)}</th>
                <td class="num">{number(c.plants)}</td>
                <td class="num">
                  {c.row_length_m === null ? "–" : length(c.row_length_m)}
                  <br />
                  {c.share_of_block === null ? "–" : `${number(100 * c.share_of_block, 1)} %`}
                </td>
                <td class="num">{change(c)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <p class="hint">{t("disease-choices-how")}</p>
      <details>
        <summary>{t("disease-choices-why")}</summary>
        <ul>
          {choices.map((c) => (
            <li key={`${c.name} ${c.group}`}>
              <strong>{name(c)}.</strong> {c.text}{" "}
              {c.above_limit !== null && c.limit !== null && t(c.above_limit ? "disease-choice-above" : "disease-choice-below", { limit: number(100 * c.limit, 1) })}
            </li>
          ))}
        </ul>
      </details>
    </section>
  );
}
