import type { Role } from "./farm";
import type { Kind } from "./kinds";

// As the server's table has it; the server decides, this only keeps buttons
// away that it would refuse. Removals by an applicator or a scout carry out a
// signed list.
const writes: Record<Exclude<Role, "owner">, readonly Kind[]> = {
  applicator: ["passes", "tracks", "products", "stages", "visits", "finds", "removals"],
  scout: ["visits", "finds", "samples", "stages", "removals"],
  adviser: ["finds", "visits", "samples", "reviews", "removals", "stages"],
  viewer: [],
};

/** Whether a role may create, change and close records of a kind. */
export function mayWrite(role: Role, kind: Kind): boolean {
  return role === "owner" || (writes[role] ?? []).includes(kind);
}

/** Whether a role has plants taken out on its own word; the others carry out a signed list. */
export function mayDecide(role: Role): boolean {
  return role === "owner" || role === "adviser";
}
