/* The rules of the trade, evaluated on the phone: the same conditions, facts and sentences as the service.
 *
 * Plain ES2017 without imports, so that the field page works from its cache with no network. What it may
 * say is in the file of rules; nothing here knows a rule. A fact that nobody told is absent or null, and
 * makes a comparison neither true nor false (null).
 */
(function (root) {
  "use strict";

  const LARGEST_SHOWN = 1e21;
  const UNTOLD = "not told";
  const ENDLESS = "very much";

  function tell(facts, name) {
    const found = Object.prototype.hasOwnProperty.call(facts, name) ? facts[name] : null;
    return found === undefined ? null : found;
  }

  function evaluate(condition, facts) {
    const names = Object.keys(condition);
    if (names.length !== 1) {
      throw new Error("a condition has one key, not " + names.join(", "));
    }
    const name = names[0];
    const parts = condition[name];
    if (name === "given" || name === "missing") {
      return (tell(facts, parts) !== null) === (name === "given");
    }
    if (name === "not") {
      const held = evaluate(parts, facts);
      return held === null ? null : !held;
    }
    if (name === "all" || name === "any") {
      return join(parts.map((part) => evaluate(part, facts)), name === "all");
    }
    if (name === "among") {
      const value = valueOf(parts[0], facts);
      return value === null ? null : parts[1].includes(value);
    }
    return compare(name, valueOf(parts[0], facts), valueOf(parts[1], facts));
  }

  function join(held, isAll) {
    if (held.includes(!isAll)) {
      return !isAll;
    }
    return held.includes(null) ? null : isAll;
  }

  function compare(name, left, right) {
    if (left === null || right === null) {
      return null;
    }
    if (name === "same") {
      return typeof left === typeof right ? left === right : null;
    }
    if (typeof left !== "number" || typeof right !== "number") {
      return null;
    }
    switch (name) {
      case "less":
        return left < right;
      case "at_most":
        return left <= right;
      case "more":
        return left > right;
      case "at_least":
        return left >= right;
      default:
        throw new Error("'" + name + "' is no condition");
    }
  }

  function valueOf(part, facts) {
    if (part !== null && typeof part === "object") {
      return reckon(part, facts);
    }
    const value = typeof part === "string" ? tell(facts, part) : part;
    return typeof value === "number" && !Number.isFinite(value) ? null : value;
  }

  function reckon(part, facts) {
    const name = Object.keys(part)[0];
    const numbers = part[name].map((operand) => valueOf(operand, facts));
    if (!numbers.every((number) => typeof number === "number")) {
      return null;
    }
    let result;
    if (name === "sum") {
      result = numbers.reduce((total, number) => total + number, 0);
    } else if (name === "product") {
      result = numbers.reduce((total, number) => total * number, 1);
    } else if (name === "difference") {
      result = numbers[0] - numbers[1];
    } else {
      throw new Error("'" + name + "' is no way to reckon");
    }
    return Number.isFinite(result) ? result : null;
  }

  /* `words` are those for what stands for a fact, in the reader's language. */
  function fill(sentence, facts, units, system, words) {
    const say = (shown) => ([UNTOLD, ENDLESS, "yes", "no"].includes(shown) && words && words[shown]) || shown;
    const put = (name) => {
      const value = tell(facts, name);
      const shown = show(name, value, units, system);
      return typeof value === "string" ? shown : say(shown);
    };
    return sentence
      .split(/[{}]/)
      .map((part, position) => (position % 2 ? put(part) : part))
      .join("");
  }

  function show(name, value, units, system) {
    if (typeof value === "string") {
      return value;
    }
    if (typeof value === "boolean") {
      return value ? "yes" : "no";
    }
    if (value === null || !Number.isFinite(value)) {
      return UNTOLD;
    }
    const joint = name.lastIndexOf("_");
    const bySystem = joint >= 0 ? units[name.slice(joint + 1)] : undefined;
    const unit = bySystem ? bySystem[system] : undefined;
    if (!unit) {
      return number(value, 2);
    }
    return number(value * unit.factor, unit.decimals) + " " + unit.sign;
  }

  function number(value, decimals) {
    if (Math.abs(value) >= LARGEST_SHOWN) {
      return ENDLESS;
    }
    const text = value.toFixed(decimals);
    const short = text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
    return short === "-0" ? "0" : short;
  }

  /* What the rules say to one subject: {code, name, severity, sentence, caution} for each that holds. */
  function check(book, subject, facts, system, words) {
    return book.rules
      .filter((rule) => rule.subject === subject && evaluate(rule.when, facts) === true)
      .map((rule) => ({
        code: rule.code,
        name: rule.name,
        severity: rule.severity,
        sentence: fill(rule.sentence, facts, book.units, system, words),
        caution: rule.caution || "",
      }));
  }

  root.spanstockRules = { check: check, evaluate: evaluate, fill: fill };
})(typeof globalThis === "undefined" ? this : globalThis);
