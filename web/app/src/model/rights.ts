import type { Role } from "./farm";
import type { Kind } from "./kinds";

// As the server's table has it; the server decides, this only keeps buttons
// away that it would refuse.
const writes: Record<Exclude<Role, "owner">, readonly Kind[]> = {
  applicator: ["passes", "tracks", "products", "stages", "visits", "finds"],
  scout: ["visits", "finds", "samples", "stages"],
  adviser: ["finds", "visits", "samples", "reviews", "removals", "stages"],
  viewer: [],
};

/** Whether a role may create, change and close records of a kind. */
export function mayWrite(role: Role, kind: Kind): boolean {
  return role === "owner" || (writes[role] ?? []).includes(kind);
}
