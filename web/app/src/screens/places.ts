import { disease } from "./disease";
import { ground } from "./ground";
import { papers } from "./papers";
import { pass } from "./pass";
import type { Place } from "./place";
import { walk } from "./walk";

/** The five places, in the order the top line shows them. */
export const places: readonly Place[] = [ground, walk, disease, pass, papers];
