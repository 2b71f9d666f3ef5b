// @ts-check
// What may be sent: plain values, every number finite. JSON knows no others, and no log does.

/**
 * What of a value cannot be sent, in words; "" where all of it can.
 * @param {unknown} value
 * @param {string} where  its name
 * @returns {string}
 */
export function not_plain(value, where = "") {
  if (typeof value === "number") return Number.isFinite(value) ? "" : `${where || "a number"} = ${value}`
  if (value === null || value === undefined || typeof value === "string" || typeof value === "boolean") return ""
  if (typeof value !== "object") return `${where || "a value"}, a ${typeof value},`
  for (const [name, part] of Object.entries(value)) {
    const odd = not_plain(part, Array.isArray(value) ? where : name)
    if (odd) return odd
  }
  return ""
}
