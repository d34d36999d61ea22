// Scales: from values to places, and where the ticks are.

import { decimalsOf, fixed, long, multiples, prefix, printed, quantity, roundStep, scaled, formatted } from "./numbers.js";

/** A vertical scale around the values, its bounds on whole steps. */
export class ValueAxis {
  constructor(low, high, unit, top, bottom) {
    if (!(low <= high) || !Number.isFinite(low) || !Number.isFinite(high)) {
      [low, high] = [0, 1];
    }
    const size = Math.max(Math.abs(low), Math.abs(high));
    if (high - low <= 1e-9 * size || high === low) {
      const half = size > 0 ? Math.max(0.05 * size, 1e-12) : 1;
      [low, high] = [low - half, high + half];
    }
    const wanted = Math.max(3, Math.floor((bottom - top) / 30));
    const step = roundStep((high - low) / wanted);
    // A little air, to whole fifths of a step, so that the scale stays while the view moves a little.
    const air = 0.03 * (high - low);
    this.low = Math.floor((low - air) / (step / 5)) * (step / 5);
    this.high = Math.ceil((high + air) / (step / 5)) * (step / 5);
    this.step = step;
    this.unit = unit;
    this.top = top;
    this.bottom = bottom;
    [this.power, this.letter] = prefix(Math.max(Math.abs(this.low), Math.abs(this.high)), unit);
  }

  y(value) {
    const y = this.bottom - ((value - this.low) / (this.high - this.low)) * (this.bottom - this.top);
    // Drawing far outside costs time and gains nothing.
    return Math.max(this.top - 2000, Math.min(this.bottom + 2000, y));
  }

  ticks() {
    const step = this.step / 10 ** this.power;
    return multiples(this.low, this.high, this.step).map((at) => ({
      at, label: fixed(scaled(at, this.power), decimalsOf(step)),
    }));
  }

  title() {
    const unit = this.letter + printed(this.unit);
    return unit ? `${quantity(this.unit)} (${unit})` : quantity(this.unit);
  }
}

/** The common time axis. Deep in a long record its labels count from a round instant, which the title tells. */
export class TimeAxis {
  constructor(from, to, left, right) {
    Object.assign(this, { from, to, left, right });
    this.wanted = Math.max(2, Math.floor((right - left) / 75));
    this.step = roundStep((to - from) / this.wanted);
    this.origin = 0;
    if (Math.max(Math.abs(from), Math.abs(to)) / this.step > 2e4) {
      const coarse = 10 ** Math.ceil(Math.log10(to - from) + 0.3);
      this.origin = multiples(from - coarse, from, coarse).at(-1) ?? 0;
    }
    const largest = Math.max(Math.abs(from - this.origin), Math.abs(to - this.origin));
    [this.unit, this.one] = long(largest) ?? [];
    if (this.unit) {
      this.step = roundStep((to - from) / this.one / this.wanted) * this.one;
    } else {
      const [power, letter] = prefix(largest, "s");
      [this.unit, this.one] = [`${letter}s`, 10 ** power];
    }
  }

  x(t) {
    return this.left + ((t - this.from) / (this.to - this.from)) * (this.right - this.left);
  }

  t(x) {
    return this.from + ((x - this.left) / (this.right - this.left)) * (this.to - this.from);
  }

  ticks() {
    const decimals = decimalsOf(this.step / this.one);
    return multiples(this.from - this.origin, this.to - this.origin, this.step).map((at) => ({
      at: at + this.origin, label: fixed(at / this.one, decimals),
    }));
  }

  title() {
    if (this.origin === 0) {
      return `time (${this.unit})`;
    }
    const size = Math.abs(this.origin);
    const coarse = 10 ** Math.ceil(Math.log10(this.to - this.from) + 0.3);
    const digits = Math.max(1, Math.round(Math.log10(size / coarse)) + 1);
    return `time after ${formatted(this.origin, "s", Math.min(15, digits))} (${this.unit})`;
  }
}
