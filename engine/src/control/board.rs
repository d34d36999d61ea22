//! Where controllers leave their orders, and where the loop finds them.

use std::collections::VecDeque;

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{ChoiceId, Circuit, LineId, WaveId};
use crate::circuit::wave::Wave;
use crate::recorder::Event;

/// An order for later.
#[derive(Clone, Debug, PartialEq)]
struct Due<T> {
    at: f64,
    what: T,
}

/// Lines, driven courses and choices, with what has been ordered for later.
#[derive(Clone, Debug, Default)]
pub struct Board<L: Lane> {
    /// Names of the lines.
    names: Vec<String>,
    lines: Vec<bool>,
    /// When each line last changed, s.
    since: Vec<f64>,
    line_orders: Vec<Due<(LineId, bool)>>,
    /// Present option of each choice.
    choices: Vec<usize>,
    choice_orders: Vec<Due<(ChoiceId, usize)>>,
    /// Points still to come, and the last one passed, of each driven course.
    courses: Vec<Option<VecDeque<(f64, L)>>>,
    events: Vec<Event>,
    /// Since when a fault stands, s.
    fault: Option<f64>,
    corner: bool,
    jump: bool,
    /// Counts the changes of choices.
    version: u64,
    /// The instant up to which orders have been carried out, s.
    now: f64,
    /// The next instant at which there is something to do; −∞ where that is not known.
    due: f64,
}

impl<L: Lane> Board<L> {
    /// The board of a circuit, with no lines yet.
    #[inline(never)]
    pub fn new(circuit: &Circuit<L>) -> Self {
        let courses = circuit.waves.iter().map(|w| match w {
            Wave::Driven(x) => Some(VecDeque::from([(f64::NEG_INFINITY, *x)])),
            _ => None,
        });
        Self {
            choices: circuit.choices.iter().map(|c| c.initial).collect(),
            courses: courses.collect(),
            now: f64::NEG_INFINITY,
            due: f64::NEG_INFINITY,
            ..Self::default()
        }
    }

    /// Adds a line; it is false until ordered otherwise. A name that exists gives the line that has it.
    #[inline(never)]
    pub fn add_line(&mut self, name: &str) -> LineId {
        if let Some(k) = self.names.iter().position(|n| n == name) {
            return LineId(k as u32);
        }
        self.names.push(name.to_string());
        self.lines.push(false);
        self.since.push(f64::NEG_INFINITY);
        LineId(self.names.len() as u32 - 1)
    }

    /// Number of lines.
    pub fn lines(&self) -> usize {
        self.lines.len()
    }

    /// State of a line now.
    pub fn line(&self, line: LineId) -> bool {
        self.lines[line.0 as usize]
    }

    /// Name of a line.
    pub fn line_name(&self, line: LineId) -> &str {
        &self.names[line.0 as usize]
    }

    /// The instant at which a line last changed, s; −∞ when it never did since the start.
    pub fn since(&self, line: LineId) -> f64 {
        self.since[line.0 as usize]
    }

    /// Sets a line now.
    pub fn set(&mut self, line: LineId, value: bool) {
        self.put(line, value, self.now);
    }

    fn put(&mut self, line: LineId, value: bool, at: f64) {
        let k = line.0 as usize;
        if self.lines[k] != value {
            self.lines[k] = value;
            self.since[k] = at;
        }
    }

    /// Orders a line's state for the instant `at`, s; one that has passed means now. Later orders for the same line
    /// stand beside it.
    pub fn set_at(&mut self, line: LineId, value: bool, at: f64) {
        if at <= self.now {
            self.set(line, value);
        } else {
            self.line_orders.push(Due { at, what: (line, value) });
            self.due = f64::NEG_INFINITY;
        }
    }

    /// Forgets the orders that a line still has for later.
    pub fn forget(&mut self, line: LineId) {
        self.due = f64::NEG_INFINITY;
        self.line_orders.retain(|o| o.what.0 != line);
    }

    /// Option of a choice now.
    pub fn chosen(&self, choice: ChoiceId) -> usize {
        self.choices[choice.0 as usize]
    }

    /// All options now.
    pub fn choices(&self) -> &[usize] {
        &self.choices
    }

    /// Counts the changes of choices: the same number, the same options.
    pub fn version(&self) -> u64 {
        self.version
    }

    /// Takes another option of a choice at the instant `at`, s; one that has passed means now. Replaces what was
    /// ordered for it later.
    pub fn choose_at(&mut self, choice: ChoiceId, option: usize, at: f64) {
        self.choice_orders.retain(|o| o.what.0 != choice || o.at < at);
        self.due = f64::NEG_INFINITY;
        if at <= self.now {
            self.choose(choice, option);
        } else {
            self.choice_orders.push(Due { at, what: (choice, option) });
        }
    }

    fn choose(&mut self, choice: ChoiceId, option: usize) {
        if self.choices[choice.0 as usize] != option {
            self.choices[choice.0 as usize] = option;
            self.jump = true;
            self.version += 1;
        }
    }

    /// Value of a driven course at t, s, after a step there; `None` for a course that is not driven.
    pub fn driven(&self, wave: WaveId, t: f64) -> Option<L> {
        self.driven_beside(wave, t, true)
    }

    fn driven_beside(&self, wave: WaveId, t: f64, after: bool) -> Option<L> {
        let points = self.courses[wave.0 as usize].as_ref()?;
        let k = points.partition_point(|p| if after { p.0 <= t } else { p.0 < t }).max(1);
        let (t0, a) = points[k - 1];
        let Some(&(t1, b)) = points.get(k) else { return Some(a) };
        if t0 == f64::NEG_INFINITY || t0 == t1 {
            return Some(a);
        }
        // To the bit at a corner, where the line may round.
        Some(if t == t1 { b } else { a + (b - a) * L::splat((t - t0) / (t1 - t0)) })
    }

    /// Value of any course just before t, s: a driven one as ordered here, others by their own points.
    #[inline]
    pub fn course(&self, wave: &Wave<L>, id: WaveId, t: f64) -> L {
        match wave {
            Wave::Constant(x) => *x,
            Wave::Driven(x) => self.driven_beside(id, t, false).unwrap_or(*x),
            other => other.until(t),
        }
    }

    /// Value of any course just after t, s.
    #[inline]
    pub fn course_after(&self, wave: &Wave<L>, id: WaveId, t: f64) -> L {
        match wave {
            Wave::Driven(x) => self.driven(id, t).unwrap_or(*x),
            other => other.at(t),
        }
    }

    /// Both for a step: just after its begin and just before its end, s ([`Wave::ends`]).
    #[inline]
    pub fn course_ends(
        &self,
        wave: &Wave<L>,
        id: WaveId,
        (begin, end): (f64, f64),
        passed: &mut usize,
    ) -> (L, L) {
        match wave {
            Wave::Driven(_) => (self.course_after(wave, id, begin), self.course(wave, id, end)),
            other => other.ends((begin, end), passed),
        }
    }

    /// Orders a ramp of a driven course: from the value it has at `begin` in a straight line to `value` at `end`
    /// (s, `end > begin`). Whatever it had been ordered to do after `begin` is forgotten.
    pub fn ramp(&mut self, wave: WaveId, begin: f64, end: f64, value: L) {
        let Some(from) = self.driven(wave, begin) else { return };
        if let Some(points) = self.courses[wave.0 as usize].as_mut() {
            self.due = f64::NEG_INFINITY;
            points.retain(|p| p.0 < begin);
            points.push_back((begin, from));
            points.push_back((end, value));
            self.corner |= begin <= self.now;
        }
    }

    /// Orders a step of a driven course to `value` at the instant `at`, s; one that has passed means now. Whatever it had
    /// been ordered to do after it is forgotten.
    pub fn step(&mut self, wave: WaveId, at: f64, value: L) {
        let at = at.max(self.now);
        let Some(from) = self.driven_beside(wave, at, false) else { return };
        if let Some(points) = self.courses[wave.0 as usize].as_mut() {
            points.retain(|p| p.0 < at);
            if points.is_empty() {
                points.push_back((f64::NEG_INFINITY, from));
            }
            points.push_back((at, from));
            points.push_back((at, value));
            self.jump |= at <= self.now;
        }
    }

    /// Gives a driven course the value that it has from the start.
    pub fn begin(&mut self, wave: WaveId, value: L) {
        if let Some(points) = self.courses[wave.0 as usize].as_mut() {
            *points = VecDeque::from([(f64::NEG_INFINITY, value)]);
        }
    }

    /// Marks that a fault stands since an instant, s, or that none does.
    pub fn mark_fault(&mut self, since: Option<f64>) {
        self.fault = since;
    }

    /// Since when the fault that is marked stands, s.
    pub fn fault(&self) -> Option<f64> {
        self.fault
    }

    /// Notes an event.
    pub fn note(&mut self, event: Event) {
        self.events.push(event);
    }

    /// Takes the events noted so far.
    pub fn take_events(&mut self) -> Vec<Event> {
        std::mem::take(&mut self.events)
    }

    /// The next instant after `t` at which an order takes effect or a driven course has a corner.
    pub fn next(&self, t: f64) -> Option<f64> {
        if t >= self.now && t < self.due {
            return Some(self.due).filter(|due| due.is_finite());
        }
        let lines = self.line_orders.iter().map(|o| o.at);
        let choices = self.choice_orders.iter().map(|o| o.at);
        let corners = self.courses.iter().flatten().flatten().map(|p| p.0);
        lines.chain(choices).chain(corners).filter(|&at| at > t).min_by(f64::total_cmp)
    }

    /// Carries out what is due at or before `t`, in the order of the instants.
    pub fn apply_orders(&mut self, t: f64) {
        self.now = t;
        if t < self.due {
            return;
        }
        let mut due: Vec<_> = self.line_orders.iter().filter(|o| o.at <= t).cloned().collect();
        due.sort_by(|a, b| a.at.total_cmp(&b.at));
        for order in due {
            self.put(order.what.0, order.what.1, order.at);
        }
        self.line_orders.retain(|o| o.at > t);
        let mut due: Vec<_> = self.choice_orders.iter().filter(|o| o.at <= t).cloned().collect();
        due.sort_by(|a, b| a.at.total_cmp(&b.at));
        for order in due {
            self.choose(order.what.0, order.what.1);
        }
        self.choice_orders.retain(|o| o.at > t);
        for points in self.courses.iter_mut().flatten() {
            self.corner |= points.iter().any(|p| p.0 == t);
            self.jump |= (1..points.len()).any(|k| points[k].0 == t && points[k - 1].0 == t);
            // The last point passed stays: it holds the present value or begins the present ramp. Of a step at this very
            // instant both stay, for what it was before.
            let steps = |a: f64, b: f64| a == t && b == t;
            while points.len() > 1 && points[1].0 <= t && !steps(points[0].0, points[1].0) {
                points.pop_front();
            }
        }
        self.due = self.next(t).unwrap_or(f64::INFINITY);
    }

    /// Whether a course had a corner, or a choice changed, since the last call: (corner, jump). To be asked after the
    /// controllers have looked, since what they order for this very instant counts.
    pub fn take_changes(&mut self) -> (bool, bool) {
        (std::mem::take(&mut self.corner), std::mem::take(&mut self.jump))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ramps_replace_what_was_ordered_after_them() {
        let mut circuit = Circuit::<f64>::new();
        let wave = circuit.wave(Wave::Driven(0.0));
        let mut board = Board::new(&circuit);
        board.ramp(wave, 1.0, 2.0, 10.0);
        assert_eq!(board.driven(wave, 0.5), Some(0.0));
        assert_eq!(board.driven(wave, 1.5), Some(5.0));
        assert_eq!(board.next(0.0), Some(1.0));
        board.apply_orders(1.0);
        assert_eq!(board.take_changes(), (true, false));
        board.ramp(wave, 1.5, 2.5, 0.0);
        assert_eq!(board.driven(wave, 1.5), Some(5.0));
        assert_eq!(board.driven(wave, 2.0), Some(2.5));
        board.apply_orders(3.0);
        assert_eq!(board.driven(wave, 3.0), Some(0.0));
        assert_eq!(board.next(3.0), None);
    }

    #[test]
    fn steps_are_steps() {
        let mut circuit = Circuit::<f64>::new();
        let wave = circuit.wave(Wave::Driven(1.0));
        let kind = circuit.waves[0].clone();
        let mut board = Board::new(&circuit);
        board.step(wave, 2.0, 5.0);
        assert_eq!(
            (board.next(0.0), board.driven(wave, 1.9), board.driven(wave, 2.0)),
            (Some(2.0), Some(1.0), Some(5.0))
        );
        let both =
            |board: &Board<f64>, t: f64| (board.course(&kind, wave, t), board.course_after(&kind, wave, t));
        assert_eq!((both(&board, 2.0), both(&board, 2.5)), ((1.0, 5.0), (5.0, 5.0)));
        board.apply_orders(2.0);
        assert_eq!(board.take_changes(), (true, true));
        assert_eq!((both(&board, 2.0), both(&board, 2.5)), ((1.0, 5.0), (5.0, 5.0)));
        // Now, and from a ramp that it ends.
        board.ramp(wave, 2.0, 4.0, 7.0);
        board.apply_orders(3.0);
        board.step(wave, 3.0, 0.0);
        assert_eq!(
            (both(&board, 3.0), both(&board, 3.5), board.take_changes().1),
            ((6.0, 0.0), (0.0, 0.0), true)
        );
        board.apply_orders(9.0);
        assert_eq!((both(&board, 9.0), board.next(3.0)), ((0.0, 0.0), None));
    }

    #[test]
    fn orders_for_an_instant_that_has_come_take_effect_at_once() {
        let mut circuit = Circuit::<f64>::new();
        let wave = circuit.wave(Wave::Driven(0.0));
        let choice = circuit.choice(vec![1.0, 2.0], 0);
        let mut board = Board::new(&circuit);
        let line = board.add_line("command");
        board.apply_orders(1.0);
        board.set_at(line, true, 1.0);
        board.choose_at(choice, 1, 1.0);
        board.ramp(wave, 1.0, 2.0, 1.0);
        assert!(board.line(line) && board.since(line) == 1.0 && board.chosen(choice) == 1);
        assert_eq!(board.take_changes(), (true, true));
        board.set_at(line, false, 1.25);
        board.set_at(line, false, 1.5);
        board.apply_orders(2.0);
        assert!(!board.line(line) && board.since(line) == 1.25);
    }
}
