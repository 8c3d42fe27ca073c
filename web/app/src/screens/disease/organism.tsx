import { Scouting } from "../../api/scouting";
import type { Cause } from "../../model/kinds";
import { useAsked } from "../../ui/asked";
import { Choice } from "../../ui/form";
import { useText } from "../../ui/hooks";
import type { PlaceProps } from "../place";

/** Which organism it is, of those that cause the disease; open until somebody has told them apart. */
export function OrganismChoice(props: Pick<PlaceProps, "api"> & { cause: Cause | undefined; value: string; fault: string | undefined; onValue: (organism: string) => void }) {
  const t = useText();
  const { api, cause, value } = props;
  const { now } = useAsked((options) => new Scouting(api).names(cause ?? "", options), [api, cause]);
  const known = now?.candidates[0]?.organisms ?? [];
  if (!cause || (known.length === 0 && !value)) return null;
  return (
    <Choice
      label={t("samples-organism")}
      hint={now?.question || undefined}
      value={value}
      empty={t("samples-organism-open")}
      fault={props.fault}
      choices={[...new Set([...known, ...(value ? [value] : [])])].map((o) => ({ value: o, label: o }))}
      onValue={props.onValue}
    />
  );
}
