/**
 * Where JSON doesn't hold a value as it is: what `JSON.parse(JSON.stringify(value))` would lose or change, by its path. Empty where
 * it holds all of it. Stricter than equality: a field that is undefined, -0 or not finite, and whatever isn't plain, counts.
 */
export function lostInJson(value: unknown, path = "state"): string[] {
  switch (typeof value) {
    case "string":
    case "boolean":
      return [];
    case "number":
      return Number.isFinite(value) && !Object.is(value, -0)
        ? []
        : [`${path} is ${Object.is(value, -0) ? "-0" : value}`];
    case "object":
      break;
    default:
      return [`${path} is ${typeof value}`];
  }
  if (value === null) return [];
  if (Array.isArray(value)) {
    const holes = Object.keys(value).length === value.length ? [] : [`${path} has holes or fields of its own`];
    return [...holes, ...value.flatMap((entry, index) => lostInJson(entry, `${path}[${index}]`))];
  }
  if (Object.getPrototypeOf(value) !== Object.prototype) return [`${path} is no plain object`];
  return Object.entries(value).flatMap(([name, entry]) => lostInJson(entry, `${path}.${name}`));
}
