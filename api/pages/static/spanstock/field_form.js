/* From rows on the page to what a report says, and back from a draft to the rows. No row is known here by name. */

/* What was entered in the fields of a row, as text, to be kept as a draft. */
export function readRaw(row) {
  const values = {};
  for (const field of row.querySelectorAll("[data-field]")) {
    if (field.type === "radio") {
      if (field.checked) {
        values[field.dataset.field] = field.value;
      }
    } else if (field.type === "checkbox") {
      values[field.dataset.field] = field.checked;
    } else if (field.value !== "") {
      values[field.dataset.field] = field.value;
    }
  }
  return values;
}

export function writeRaw(row, values) {
  for (const field of row.querySelectorAll("[data-field]")) {
    const value = values[field.dataset.field];
    if (field.type === "radio") {
      field.checked = value === field.value;
    } else if (field.type === "checkbox") {
      field.checked = value === true;
    } else if (value !== undefined) {
      field.value = value;
    }
  }
}

/* The same as JSON for the service: amounts with their unit, numbers as numbers, yes and no as such. */
export function readRow(row) {
  const raw = readRaw(row);
  const found = {};
  for (const field of row.querySelectorAll("[data-field]")) {
    const name = field.dataset.field;
    const value = raw[name];
    if (value === undefined || value === false || name in found || field.dataset.kind === "aside") {
      continue;
    }
    found[name] = convert(field, value, row);
  }
  return found;
}

function convert(field, value, row) {
  switch (field.dataset.kind) {
    case "amount": {
      const unit = field.dataset.unit || row.querySelector(`[data-unit-of="${field.dataset.field}"]`).value;
      return { value: tidy(value), unit };
    }
    case "count":
      return Number.parseInt(value, 10);
    case "number":
      return Number(tidy(value));
    case "minutes":
      return Number(tidy(value)) * 60;
    case "flag":
      return value === true || value === "yes";
    default:
      return value;
  }
}

/* A comma is a decimal point on half of the world's keyboards. */
function tidy(text) {
  return text.trim().replace(",", ".");
}

/* A copy of a template's row. Radio buttons of copies must not share a group. */
let copies = 0;
export function copyRow(name) {
  const row = document.getElementById(`row-${name}`).content.firstElementChild.cloneNode(true);
  copies += 1;
  for (const field of row.querySelectorAll("input[type=radio]")) {
    field.name = `${field.name}-${copies}`;
  }
  for (const field of row.querySelectorAll("[id]")) {
    const label = row.querySelector(`label[for="${field.id}"]`);
    field.id = `${field.id}-${copies}`;
    if (label) {
      label.htmlFor = field.id;
    }
  }
  return row;
}

export function chooseUnits(root, system) {
  const wanted = system === "metric" ? ["L", "m", "kg", "bar", "Cel"] : ["[gal_us]", "[ft_i]", "[lb_av]", "[psi]", "[degF]"];
  for (const select of root.querySelectorAll("select[data-unit-of]")) {
    for (const option of select.options) {
      option.selected = wanted.includes(option.value);
    }
  }
}
