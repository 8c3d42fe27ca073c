import { signal } from "../model/signal";

/** The day the map shows when a screen looks at an earlier one; null for today. */
export const mapDay = signal<string | null>(null);
