/* The words of the page, which stand in it in the reader's language, and small pieces of text put together. */

/* Those in which the page is kept, that of the book first. */
export const languages = document.documentElement.dataset.languages.split(" ");

export function word(name, values = {}) {
  const found = document.getElementById("words").content.querySelector(`[data-word="${name}"]`);
  return Object.entries(values).reduce((text, [key, value]) => text.replace(`{${key}}`, value), found.textContent);
}

export function make(tag, text = "", className = "") {
  const element = document.createElement(tag);
  element.textContent = text;
  if (className) {
    element.className = className;
  }
  return element;
}

export function showTime(iso) {
  return new Date(iso).toLocaleString(document.documentElement.lang, { weekday: "short", hour: "2-digit", minute: "2-digit" });
}

export function showDay(day) {
  const [year, month, date] = day.split("-").map(Number);
  return new Date(year, month - 1, date).toLocaleDateString(document.documentElement.lang, {
    weekday: "short",
    day: "numeric",
    month: "short",
  });
}

const LABELS = { "[gal_us]": "gal", "[ft_i]": "ft", "[lb_av]": "lb", 1: "", L: "L", m: "m", kg: "kg" };
/* Factors between the units in which goods are counted and those that a person reads; both are exact. */
const TO_METRIC = { "[gal_us]": ["L", 3.785411784], "[ft_i]": ["m", 0.3048], "[lb_av]": ["kg", 0.45359237] };
const TO_US = { L: ["[gal_us]", 1 / 3.785411784], m: ["[ft_i]", 1 / 0.3048], kg: ["[lb_av]", 1 / 0.45359237] };

export function showAmount(quantity, system) {
  const [unit, factor] = (system === "metric" ? TO_METRIC : TO_US)[quantity.unit] || [quantity.unit, 1];
  const value = Number(quantity.value) * factor;
  const digits = unit === "1" ? 2 : unit === "[ft_i]" ? 1 : 2;
  return `${Number(value.toFixed(digits))} ${LABELS[unit] ?? unit}`.trim();
}
