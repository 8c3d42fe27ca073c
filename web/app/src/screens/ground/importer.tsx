export function ImportSheet(_: unknown) {
  return null;
}
