// Bookmarks: instants with a view and a note. The page comes with those kept when it was made; the browser remembers
// what is added, and hands it out as the small file that stands beside the run. A note is set as text, never as markup.

import { clock, data } from "./data.js";

const SAME_S = 1e-3;

export class Marks {
  // seen: () => {time_s, view, eye_m, focus_m} of what is shown; go: to a bookmark.
  constructor(parts, seen, go) {
    Object.assign(this, { parts, seen, go, form: data.bookmarks });
    this.key = `armcarry bookmarks ${data.title} ${data.counts} ${data.end_s}`;
    this.marks = this.remembered() ?? this.form.marks;
    parts.note.maxLength = this.form.longest;
    parts.entry.addEventListener("submit", (event) => {
      event.preventDefault();
      this.keep(parts.note.value.trim());
      parts.note.value = "";
      parts.note.blur();
    });
    parts.save.addEventListener("click", () => this.save());
    this.list();
  }

  remembered() {
    try {
      const found = JSON.parse(localStorage.getItem(this.key));
      return Array.isArray(found) ? found : null;
    } catch {
      return null; // the browser keeps nothing for this page
    }
  }

  keep(note) {
    const mark = { ...this.seen(), note };
    const others = this.marks.filter((each) => Math.abs(each.time_s - mark.time_s) > SAME_S);
    this.put([...others, mark].sort((one, other) => one.time_s - other.time_s).slice(0, this.form.most));
  }

  drop(mark) {
    this.put(this.marks.filter((each) => each !== mark));
  }

  put(marks) {
    this.marks = marks;
    try {
      localStorage.setItem(this.key, JSON.stringify(marks));
    } catch { /* they last as long as the page is open */ }
    this.list();
  }

  // The next one after an instant, or before it with a negative count, round both ends; null where there is none.
  after(time, by) {
    const later = this.marks.find((mark) => mark.time_s > time + SAME_S) ?? this.marks[0];
    const earlier = this.marks.filter((mark) => mark.time_s < time - SAME_S).at(-1) ?? this.marks.at(-1);
    return (by > 0 ? later : earlier) ?? null;
  }

  text() {
    return `${JSON.stringify({ format: this.form.form, bookmarks: this.marks }, null, 1)}\n`;
  }

  save() {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([this.text()], { type: "application/json" }));
    link.download = this.form.file;
    link.click();
    URL.revokeObjectURL(link.href);
  }

  list() {
    const rows = this.marks.map((mark) => {
      const row = document.createElement("li");
      row.append(this.button(`${clock(mark.time_s - data.start_s)} ${mark.note}`.trim(), () => this.go(mark)));
      row.append(this.button("✕", () => this.drop(mark), `drop the bookmark at ${clock(mark.time_s - data.start_s)}`));
      return row;
    });
    this.parts.list.replaceChildren(...rows);
    this.parts.save.disabled = rows.length === 0;
  }

  button(words, act, label = "") {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = words;
    if (label) made.setAttribute("aria-label", label);
    made.addEventListener("click", act);
    return made;
  }
}
