"use strict";
(() => {
  const root = document.documentElement;
  root.classList.add("js");
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const make = (name, looks) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    element.setAttribute("class", looks);
    return element;
  };
  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

  function time(seconds) {
    const whole = Math.round(seconds);
    const two = (value) => String(value).padStart(2, "0");
    const minutes = Math.floor(whole / 60);
    return minutes < 60 ? `${minutes}:${two(whole % 60)}` : `${Math.floor(minutes / 60)}:${two(minutes % 60)}:${two(whole % 60)}`;
  }

  class Sheet {
    constructor(article, data) {
      this.article = article;
      this.data = data;
      this.svg = article.querySelector(".sheet-picture");
      this.stage = article.querySelector(".stage");
      this.uses = [...article.querySelectorAll(".parts use")];
      this.rows = [...article.querySelectorAll(".copies button")];
      this.readout = article.querySelector(".readout");
      this.asked = this.readout.textContent;
      this.pinned = -1;
      this.lift = make("use", "lift");
      this.svg.append(this.lift);
      this.watchParts();
      this.zooming();
      for (const box of article.querySelectorAll("[data-toggle]")) {
        box.addEventListener("change", () => this.toggle(box.dataset.toggle, box.checked));
      }
      for (const every of article.querySelectorAll("[data-toggle-all]")) {
        const boxes = [...every.closest(".passes").querySelectorAll("[data-toggle]")];
        const tell = () => {
          const on = boxes.filter((box) => box.checked).length;
          every.checked = on > 0;
          every.indeterminate = on > 0 && on < boxes.length;
        };
        every.addEventListener("change", () => {
          for (const box of boxes) {
            box.checked = every.checked;
            this.toggle(box.dataset.toggle, box.checked);
          }
        });
        for (const box of boxes) box.addEventListener("change", tell);
      }
      if (article.querySelector(".player")) this.playing();
    }

    /* Parts and their rows light each other up. */
    watchParts() {
      const place = (target) => this.uses.indexOf(target.closest(".parts use"));
      this.svg.addEventListener("pointerover", (event) => {
        if (event.pointerType !== "touch") this.light(place(event.target));
      });
      this.stage.addEventListener("pointerleave", () => this.light(-1));
      this.svg.addEventListener("click", (event) => {
        if (!this.dragged) this.pin(place(event.target), true);
      });
      this.rows.forEach((row, number) => {
        row.addEventListener("pointerenter", (event) => {
          if (event.pointerType !== "touch") this.light(number);
        });
        row.addEventListener("pointerleave", () => this.light(-1));
        row.addEventListener("focus", () => this.light(number));
        row.addEventListener("blur", () => this.light(-1));
        row.addEventListener("click", () => this.pin(number, false));
      });
    }

    pin(number, show) {
      this.pinned = number === this.pinned ? -1 : number;
      for (const row of this.rows) row.setAttribute("aria-pressed", "false");
      this.light(-1);
      if (this.pinned < 0) return;
      this.rows[this.pinned].setAttribute("aria-pressed", "true");
      if (show && innerWidth > 980) this.rows[this.pinned].scrollIntoView({ block: "nearest" });
    }

    light(number) {
      const shown = number < 0 ? this.pinned : number;
      if (shown === this.lighted) return;
      this.lighted = shown;
      for (const each of this.article.querySelectorAll(".lit")) each.classList.remove("lit");
      this.lift.removeAttribute("href");
      this.readout.textContent = this.asked;
      if (shown < 0) return;
      const use = this.uses[shown], row = this.rows[shown];
      use.classList.add("lit");
      row.classList.add("lit");
      this.lift.setAttribute("href", use.getAttribute("href"));
      this.lift.setAttribute("transform", use.getAttribute("transform"));
      const words = [...row.children].map((part) => part.textContent.trim().replace(/\s+/g, " "));
      this.readout.textContent = words.join(" \u00b7 ");
    }

    toggle(name, on) {
      const found = name === "names" ? this.article.querySelector(".names") : this.layer(name);
      found.style.display = on ? "" : "none";
    }

    layer(name) {
      return [...this.svg.querySelectorAll("[data-layer]")].find((path) => path.dataset.layer === name);
    }

    /* Zoom and pan change the view box. */
    zooming() {
      const [, , width, height] = this.svg.getAttribute("viewBox").split(" ").map(Number);
      this.full = { width, height };
      this.view = { x: 0, y: 0, zoom: 1 };
      this.bar = this.article.querySelector(".under i");
      this.scale = this.article.querySelector(".under .scale");
      this.share = parseFloat(this.bar.style.width);
      [this.length, this.unit] = this.scale.textContent.split(" ");
      this.stage.tabIndex = 0;
      const fingers = new Map();
      let before = 0;
      for (const button of this.article.querySelectorAll("[data-zoom]")) {
        button.addEventListener("click", () => this.zoom({ in: 1.6, out: 1 / 1.6, all: 0 }[button.dataset.zoom]));
      }
      this.stage.addEventListener("keydown", (event) => {
        if (event.target !== this.stage) return;
        const step = 0.15 / this.view.zoom;
        const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
        const factor = { "+": 1.6, "=": 1.6, "-": 1 / 1.6, 0: 0 }[event.key];
        if (move && this.view.zoom > 1) this.move(move[0] * width, move[1] * height);
        else if (factor !== undefined && !event.ctrlKey && !event.metaKey) this.zoom(factor);
        else return;
        event.preventDefault();
      });
      this.svg.addEventListener("wheel", (event) => {
        if (!event.ctrlKey && !event.metaKey) return;
        event.preventDefault();
        this.zoom(Math.exp(-event.deltaY / 200), event);
      }, { passive: false });
      this.svg.addEventListener("dblclick", (event) => this.zoom(2, event));
      this.svg.addEventListener("pointerdown", (event) => {
        fingers.set(event.pointerId, event);
        before = 0;
        this.dragged = false;
      });
      this.svg.addEventListener("pointermove", (event) => {
        const last = fingers.get(event.pointerId);
        if (!last) return;
        fingers.set(event.pointerId, event);
        if (fingers.size === 2) {
          const [a, b] = fingers.values();
          const apart = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
          if (before) this.zoom(apart / before, { clientX: (a.clientX + b.clientX) / 2, clientY: (a.clientY + b.clientY) / 2 });
          before = apart;
          this.dragged = true;
        } else if (this.view.zoom > 1) {
          const [dx, dy] = [event.clientX - last.clientX, event.clientY - last.clientY];
          if (Math.abs(dx) + Math.abs(dy) > 1) this.dragged = true;
          const perPixel = width / this.view.zoom / this.svg.clientWidth;
          this.move(-dx * perPixel, -dy * perPixel);
        }
      });
      for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
        this.svg.addEventListener(end, (event) => fingers.delete(event.pointerId));
      }
      /* Two fingers zoom the sheet, not the page. */
      this.stage.addEventListener("touchstart", (event) => {
        if (event.touches.length === 2) event.preventDefault();
      }, { passive: false });
    }

    zoom(factor, at) {
      const { width, height } = this.full;
      const old = this.view.zoom;
      const zoom = factor ? clamp(old * factor, 1, 40) : 1;
      const box = this.svg.getBoundingClientRect();
      const [u, v] = at ? [(at.clientX - box.left) / box.width, (at.clientY - box.top) / box.height] : [0.5, 0.5];
      this.view.x += u * width * (1 / old - 1 / zoom);
      this.view.y += v * height * (1 / old - 1 / zoom);
      this.view.zoom = zoom;
      this.move(0, 0);
    }

    move(dx, dy) {
      const { width, height } = this.full, view = this.view;
      const [w, h] = [width / view.zoom, height / view.zoom];
      view.x = clamp(view.x + dx, 0, width - w);
      view.y = clamp(view.y + dy, 0, height - h);
      this.svg.setAttribute("viewBox", `${view.x} ${view.y} ${w} ${h}`);
      this.stage.classList.toggle("near", view.zoom > 1);
      let [share, length] = [this.share * view.zoom, Number(this.length)];
      while (share > 95) [share, length] = [share / 10, length / 10];
      this.bar.style.width = `${share}%`;
      this.scale.textContent = `${+length.toPrecision(6)} ${this.unit}`;
      this.place();
    }

    /* The cut order: step k is reached when its strokes are done. */
    playing() {
      this.slider = this.article.querySelector(".player input");
      this.button = this.article.querySelector(".play");
      this.told = this.article.querySelector(".step");
      this.paths = [...this.svg.querySelectorAll("[data-layer]")];
      this.whole = this.paths.map((path) => path.getAttribute("d"));
      const shown = this.paths.map(() => 0);
      this.ends = [shown.slice()];
      this.freed = this.uses.map(() => 0);
      this.data.steps.forEach(([layer, end, part], number) => {
        shown[layer] = end;
        this.ends.push(shown.slice());
        this.freed[part] = number + 1;
      });
      const names = this.svg.querySelector(".names");
      this.now = make("path", "now");
      this.tool = make("circle", "tool");
      this.svg.insertBefore(this.now, names);
      this.svg.append(this.tool);
      this.at = this.data.steps.length;
      this.drawn = this.ends[this.at].slice();
      this.slider.addEventListener("input", () => {
        this.stop();
        this.show(Number(this.slider.value), 1);
      });
      this.button.addEventListener("click", () => (this.running ? this.stop() : this.start()));
      this.tell(this.at);
      this.rest();
    }

    elapsed(step) {
      if (step === 0) return 0;
      return this.data.timed ? this.data.steps[step - 1][4] : step;
    }

    start() {
      const last = this.data.steps.length;
      const from = this.at >= last ? 0 : this.at;
      const total = this.elapsed(last);
      const speed = total / clamp(last * 250, 6000, 24000);
      const began = performance.now() - this.elapsed(from) / speed;
      let step = from;
      this.running = true;
      this.button.textContent = "Pause";
      this.button.setAttribute("aria-pressed", "true");
      this.show(from, 1);
      const frame = (now) => {
        if (!this.running) return;
        const done = (now - began) * speed;
        while (step < last && this.elapsed(step + 1) <= done) step += 1;
        if (step >= last) {
          this.show(last, 1);
          this.stop();
          return;
        }
        const long = this.elapsed(step + 1) - this.elapsed(step);
        this.show(step + 1, calm.matches ? 1 : long ? clamp((done - this.elapsed(step)) / long, 0, 1) : 1, done);
        requestAnimationFrame(frame);
      };
      requestAnimationFrame(frame);
    }

    stop() {
      this.running = false;
      this.button.textContent = "Play";
      this.button.setAttribute("aria-pressed", "false");
      if (this.at >= this.data.steps.length) this.rest();
    }

    /* Everything up to step k is done, the k-th to this share. */
    show(step, share, seconds) {
      const ends = share < 1 ? this.ends[step - 1] : this.ends[step];
      this.paths.forEach((path, layer) => {
        if (this.drawn[layer] !== ends[layer]) path.setAttribute("d", this.whole[layer].slice(0, ends[layer]));
      });
      this.drawn = ends;
      const done = share < 1 ? step - 1 : step;
      this.uses.forEach((use, number) => use.classList.toggle("wait", this.freed[number] > done));
      if (this.at !== step) {
        this.at = step;
        this.slider.value = step;
        this.tell(step, seconds);
        if (step) {
          const [layer] = this.data.steps[step - 1];
          this.now.setAttribute("d", this.whole[layer].slice(this.ends[step - 1][layer], this.ends[step][layer]));
          this.way = this.now.getTotalLength();
        }
      } else if (seconds !== undefined) this.tell(step, seconds);
      if (step === 0 || (step === this.data.steps.length && share === 1 && !this.running)) this.rest();
      else {
        this.now.style.display = this.tool.style.display = "";
        this.now.style.strokeDasharray = share < 1 ? `${this.way * share} ${this.way}` : "";
        const spot = this.now.getPointAtLength(this.way * share);
        this.tool.setAttribute("cx", spot.x);
        this.tool.setAttribute("cy", spot.y);
        this.place();
      }
    }

    rest() {
      this.now.style.display = this.tool.style.display = "none";
    }

    place() {
      if (this.tool) this.tool.setAttribute("r", (6 * this.full.width) / this.view.zoom / (this.svg.clientWidth || 800));
    }

    tell(step, seconds) {
      const { steps, timed } = this.data;
      const total = timed ? ` of ${time(this.elapsed(steps.length))}` : "";
      const clock = timed ? `${time(seconds === undefined ? this.elapsed(step) : seconds)}${total}` : "by hand";
      let what = step ? "" : "nothing is cut yet";
      if (step) {
        const [layer, , part] = steps[step - 1];
        const name = this.rows[part].querySelector(".name").firstElementChild.nextSibling.textContent.trim();
        const copy = this.rows[part].querySelector("b").textContent;
        what = `${this.paths[layer].dataset.layer}, ${name} ${copy}`;
      }
      const words = `Step ${step} of ${steps.length} \u00b7 ${clock} \u00b7 ${what}`;
      this.told.textContent = words;
      this.slider.setAttribute("aria-valuetext", words);
    }
  }

  const data = JSON.parse(document.getElementById("play").textContent);
  const sheets = [...document.querySelectorAll(".sheet")].map((article, place) => new Sheet(article, data[place]));

  /* The style sheet puts off what is not in view. It is caught up on piece by piece, so that links lead where
     they should. */
  addEventListener("load", () => {
    const late = [...document.querySelectorAll(".sheet, .assembly")];
    const next = () => {
      const article = late.shift();
      if (!article) return;
      article.style.contentVisibility = "visible";
      setTimeout(next, 0);
    };
    setTimeout(next, 0);
  });

  /* Paper can't be opened: what is folded away is printed too. */
  addEventListener("beforeprint", () => {
    for (const details of document.querySelectorAll("details")) details.open = true;
  });

  /* Search: rows that do not fit go away, parts that do not fade. */
  const field = document.getElementById("find"), told = document.getElementById("found");
  function search() {
    const words = field.value.toLocaleLowerCase().split(/\s+/).filter(Boolean);
    const where = [];
    let count = 0;
    for (const sheet of sheets) {
      let here = 0;
      sheet.rows.forEach((row, number) => {
        const text = row.dataset.find.toLocaleLowerCase();
        const fits = words.every((word) => text.includes(word));
        row.parentElement.hidden = !fits;
        sheet.uses[number].classList.toggle("dim", !fits);
        here += fits;
      });
      count += here;
      if (here) where.push(sheet);
    }
    if (!words.length) told.textContent = "";
    else if (!count) told.textContent = "none";
    else told.textContent = `${count} on ${where.length === 1 ? "sheet" : "sheets"} ${where.map((sheet) => sheet.data.sheet).join(", ")}`;
    return where;
  }
  field.addEventListener("input", search);
  field.form.addEventListener("submit", (event) => {
    event.preventDefault();
    const where = search();
    if (where.length) where[0].article.scrollIntoView();
  });
})();
