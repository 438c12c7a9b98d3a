/* What happens to a truck's goods on the way: handed over, left at a site, picked up, bought, all moved. */
import { make, showAmount, showTime, word } from "./field_words.js";

const tidy = (text) => text.trim().replace(",", ".");
const told = (fields) => ({ id: crypto.randomUUID(), occurred_at: new Date().toISOString(), ...fields });

export function showTruck(view, day, pack, queue) {
  const panel = view.querySelector('[data-panel="truck"]');
  showGoods(panel, day, pack.system);
  showAwaited(panel, day, pack, queue);
  const others = pack.trucks.filter((truck) => truck.code !== day.vehicle_code);
  panel.querySelectorAll('select[name="truck"]').forEach((select) => fill(select, others));
  fill(panel.querySelector('select[name="site"]'), pack.sites);
  fill(panel.querySelector('select[name="supplier"]'), pack.suppliers);
  fill(panel.querySelector('select[name="material"]'), pack.materials);
  const left = pack.left_at_sites.map((row) => ({ code: row.label, name: `${row.label} · ${row.site}` }));
  fill(panel.querySelector('select[name="container"]'), left);
  showUnit(panel, pack);
  for (const form of panel.querySelectorAll("form[data-move]")) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const made = MOVES[form.dataset.move](form, panel, day, pack);
      if (made !== null) {
        await queue(made.title, made.url, made.body);
        form.reset();
        panel.querySelectorAll("[data-goods]").forEach((box) => (box.checked = false));
      }
    });
  }
}

function fill(select, rows) {
  select.replaceChildren(new Option("", ""), ...rows.map((row) => new Option(row.name, row.code)));
}

function showGoods(panel, day, system) {
  const place = panel.querySelector('[data-slot="goods"]');
  if (day.aboard.length === 0) {
    place.append(make("p", word("nothing_aboard"), "quiet"));
  }
  for (const vessel of day.aboard) {
    const label = make("label", "", "ticked");
    const box = document.createElement("input");
    box.type = "checkbox";
    box.dataset.goods = vessel.label;
    const words = make("span");
    words.append(make("b", vessel.label), make("span", `${vessel.material}, ${showAmount(vessel.quantity, system)}`, "quiet"));
    label.append(box, words);
    place.append(label);
  }
}

function showAwaited(panel, day, pack, queue) {
  const place = panel.querySelector('[data-slot="awaited"]');
  for (const row of pack.awaited.filter((found) => found.target === day.vehicle_code)) {
    const part = make("div", "", "notice");
    part.append(make("p", `${row.source}, ${showTime(row.at)} ${row.note}`));
    for (const [isConfirmed, name] of [[true, "got_it"], [false, "not_so"]]) {
      const button = make("button", word(name));
      button.type = "button";
      button.addEventListener("click", async () => {
        part.remove();
        const body = { occurred_at: new Date().toISOString(), is_confirmed: isConfirmed };
        await queue(word("answered", { truck: row.source }), `/api/v1/hand-overs/${row.id}/answer`, body);
      });
      part.append(button, " ");
    }
    place.append(part);
  }
}

function showUnit(panel, pack) {
  const select = panel.querySelector('select[name="material"]');
  panel.querySelector('[data-slot="currency"]').textContent = pack.currency;
  select.addEventListener("change", () => {
    const found = pack.materials.find((row) => row.code === select.value);
    const shown = found ? showAmount({ value: "1", unit: found.unit }, "").replace(/^1 ?/, "") : "";
    panel.querySelector('[data-slot="unit"]').textContent = shown;
  });
}

function ticked(panel) {
  return [...panel.querySelectorAll("[data-goods]:checked")].map((box) => box.dataset.goods);
}

const nameOf = (select) => select.selectedOptions[0].textContent;

const MOVES = {
  "hand-over"(form, panel, day) {
    const labels = ticked(panel);
    if (labels.length === 0) {
      return null;
    }
    return {
      title: word("handed", { truck: nameOf(form.truck), what: labels.join(", ") }),
      url: "/api/v1/hand-overs",
      body: told({
        source: day.vehicle_code,
        target: form.truck.value,
        lines: [],
        containers: labels.map((container) => ({ container })),
      }),
    };
  },
  drop(form, panel) {
    const labels = ticked(panel);
    if (labels.length === 0) {
      return null;
    }
    const containers = labels.map((container) => ({ container, place: form.site.value }));
    return {
      title: word("dropped", { site: nameOf(form.site), what: labels.join(", ") }),
      url: "/api/v1/entries",
      body: told({ kind: "transfer", containers, as_report: true }),
    };
  },
  "pick-up"(form, panel, day) {
    const containers = [{ container: form.container.value, place: day.vehicle_code }];
    return {
      title: word("picked", { what: form.container.value }),
      url: "/api/v1/entries",
      body: told({ kind: "transfer", containers, as_report: true }),
    };
  },
  all(form, panel, day) {
    return {
      title: word("moved", { truck: nameOf(form.truck) }),
      url: `/api/v1/crew-days/${encodeURIComponent(day.crew.code)}/${day.date}/vehicle`,
      body: told({ vehicle: form.truck.value }),
    };
  },
  buy(form, panel, day, pack) {
    const material = pack.materials.find((row) => row.code === form.material.value);
    const line = {
      material: material.code,
      amount: { value: tidy(form.amount.value), unit: material.unit },
      cost: { value: tidy(form.cost.value), currency: pack.currency },
    };
    return {
      title: word("bought", { ticket: form.ticket.value }),
      url: "/api/v1/purchases",
      body: told({
        supplier: form.supplier.value,
        vehicle: day.vehicle_code,
        ticket_number: form.ticket.value,
        lines: [line],
      }),
    };
  },
};
