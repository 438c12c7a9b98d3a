/* The day's sheet: what to take along, in the order in which one walks the cable, ticked while loading. */
import { find, keep } from "./field_store.js";
import { languages, make, showAmount, word } from "./field_words.js";

const digitsOf = (text) => text.replace(/[\s.-]/g, "").toLowerCase();

export async function showSheet(view, day, system) {
  const key = `${day.crew.code} ${day.date}`;
  const ticks = (await find("ticks", key)) || {};
  showTexts(view.querySelector('[data-slot="cautions"]'), day.cautions);
  showTexts(view.querySelector('[data-slot="remarks"]'), day.remarks, "notice");
  const steps = view.querySelector('[data-slot="steps"]');
  for (const step of day.steps) {
    const item = make("li");
    item.append(make("b", step.title), make("span", step.detail, "quiet"));
    steps.append(item);
  }
  const lines = view.querySelector('[data-slot="lines"]');
  let group = "";
  day.lines.forEach((line, number) => {
    if (line.group !== group) {
      group = line.group;
      lines.append(make("h2", line.group_title || group));
    }
    lines.append(showLine(line, number, day, ticks, key, system));
  });
  const list = view.querySelector('[data-slot="check_list"]');
  day.check_list.forEach((item) => list.append(tick(`check ${item.name}`, item.name, item.detail, ticks, key)));
  listenForCodes(view, day);
}

function showTexts(place, texts, className = "") {
  place.hidden = texts.length === 0;
  texts.forEach((text) => place.append(make("p", text, className)));
}

function showLine(line, number, day, ticks, key, system) {
  const part = make("div", "", "take");
  const head = make("p", "", "head");
  head.append(make("b", line.title), " ", showAmount(line.needed, system));
  part.append(head);
  for (const there of line.there) {
    part.append(make("p", `${word("on_truck")}: ${there.container || ""} ${showAmount(there.quantity, system)}`, "quiet"));
  }
  line.picks.forEach((pick, position) => {
    const title = `${pick.container || ""} ${showAmount(pick.quantity, system)}`.trim();
    const code = day.short_codes[pick.container];
    const about = [pick.place, code, pick.note, pick.caution].filter(Boolean).join(" · ");
    const row = tick(`${number} ${position}`, title, about, ticks, key);
    row.dataset.codes = [pick.container, code].filter(Boolean).map(digitsOf).join(" ");
    part.append(row);
  });
  if (Number(line.short.value) > 0) {
    part.append(make("p", `${word("short")}: ${showAmount(line.short, system)}. ${line.help}`, "alarm"));
  }
  const why = make("details");
  const reason = make("p", line.why);
  // Reasons are in the language of the book.
  reason.lang = languages[0];
  why.append(make("summary", word("why")), reason);
  part.append(why);
  return part;
}

function tick(name, title, about, ticks, key) {
  const label = make("label", "", "ticked");
  const box = document.createElement("input");
  box.type = "checkbox";
  box.checked = ticks[name] === true;
  box.dataset.tick = name;
  box.addEventListener("change", async () => {
    ticks[name] = box.checked;
    await keep("ticks", key, ticks);
  });
  const words = make("span");
  words.append(make("b", title), make("span", about, "quiet"));
  label.append(box, words);
  return label;
}

/* A code that is typed or scanned ticks its container, or says that it is not on the sheet. */
function listenForCodes(view, day) {
  const form = view.querySelector('[data-slot="scan"]');
  const input = form.querySelector("input");
  const take = (text) => {
    const wanted = digitsOf(text);
    const row = [...view.querySelectorAll("[data-codes]")].find((found) => found.dataset.codes.split(" ").includes(wanted));
    input.setCustomValidity(row ? "" : word("not_found"));
    if (!row) {
      input.reportValidity();
      return;
    }
    const box = row.querySelector("input");
    box.checked = true;
    box.dispatchEvent(new Event("change"));
    row.scrollIntoView({ block: "center" });
    input.value = "";
  };
  input.addEventListener("input", () => input.setCustomValidity(""));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    take(input.value);
  });
  if ("BarcodeDetector" in window && navigator.mediaDevices) {
    const button = form.querySelector('[data-action="camera"]');
    button.hidden = false;
    button.addEventListener("click", () => scan(view.querySelector("video"), take));
  }
}

async function scan(video, take) {
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  video.srcObject = stream;
  video.hidden = false;
  await video.play();
  const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
  const stop = () => {
    stream.getTracks().forEach((track) => track.stop());
    video.hidden = true;
  };
  const look = async () => {
    const found = await detector.detect(video).catch(() => []);
    if (found.length) {
      stop();
      take(found[0].rawValue);
    } else if (!video.hidden) {
      window.setTimeout(look, 250);
    }
  };
  video.addEventListener("click", stop, { once: true });
  look();
}

/* What was ticked, as a load that the service takes. */
export function readLoad(view, day) {
  const containers = [];
  const lines = [];
  day.lines.forEach((line, number) => {
    line.picks.forEach((pick, position) => {
      const box = view.querySelector(`[data-tick="${number} ${position}"]`);
      if (!box.checked) {
        return;
      }
      const isLot = pick.container && pick.is_lot;
      if (pick.container && !isLot) {
        containers.push({ container: pick.container });
      } else {
        const lot = isLot ? { lot: pick.container } : {};
        lines.push({ material: pick.material || line.material, amount: tidyAmount(pick.quantity), place: pick.place_code, ...lot });
      }
    });
  });
  return { containers, lines };
}

const tidyAmount = (quantity) => ({ value: quantity.value, unit: quantity.unit });
