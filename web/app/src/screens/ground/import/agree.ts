import type { Proposal, Taken } from "../../api/client";
import type { Kind, SurroundingsKind } from "../../model/kinds";

export const importKinds = ["blocks", "surroundings", "tracks"] as const satisfies readonly Kind[];
export type ImportKind = (typeof importKinds)[number];

/** What the person says about one shape of a file. */
export interface Choice {
  readonly take: boolean;
  readonly name: string;
  /** Of surroundings. */
  readonly kind: SurroundingsKind | "";
}

/** At first every shape is taken, under the name the file gives. */
export function firstChoices(proposal: Proposal): Map<number, Choice> {
  return new Map(proposal.features.map((f) => [f.number, { take: true, name: f.name, kind: "" }]));
}

/** What still keeps the chosen shapes from being stored. */
export function lacks(kind: ImportKind, choices: ReadonlyMap<number, Choice>): "none" | "name" | "kind" | null {
  const taken = [...choices.values()].filter((c) => c.take);
  if (taken.length === 0) return "none";
  if (kind === "blocks" && taken.some((c) => !c.name.trim())) return "name";
  return kind === "surroundings" && taken.some((c) => !c.kind) ? "kind" : null;
}

/** The chosen shapes with what was said about them. Shapes from a file are drawn by somebody else: surroundings say so. */
export function agreed(kind: ImportKind, choices: ReadonlyMap<number, Choice>): Taken[] {
  return [...choices]
    .filter(([, c]) => c.take)
    .map(([number, c]) => {
      const name = c.name.trim() ? { name: c.name.trim() } : {};
      return { number, properties: kind === "surroundings" ? { ...name, kind: c.kind, drawn_by_eye: true } : name };
    });
}
