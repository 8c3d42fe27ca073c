import type { ComponentType } from "preact";
import { useCallback, useEffect, useState } from "preact/hooks";
import { useText } from "./hooks";
import { ProblemNote } from "./notes";

/** A screen that is fetched when it is first shown, for what most people do not open in the field. */
export function later<P extends object>(fetchScreen: () => Promise<ComponentType<P>>): ComponentType<P> {
  let here: ComponentType<P> | null = null;
  return function Later(props: P) {
    const t = useText();
    const [failure, setFailure] = useState<unknown>(null);
    const [, redraw] = useState(0);
    const load = useCallback(() => {
      setFailure(null);
      fetchScreen().then((screen) => {
        here = screen;
        redraw((n) => n + 1);
      }, setFailure);
    }, []);
    useEffect(() => {
      if (!here) load();
    }, [load]);
    if (here) {
      const Screen = here;
      return <Screen {...props} />;
    }
    return failure ? <ProblemNote problem={failure} onRetry={load} /> : <p>{t("core-loading")}</p>;
  };
}
