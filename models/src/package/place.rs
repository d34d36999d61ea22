//! Where the layers of a package lie, and everything that can be wrong with it.

use super::error::error;
use super::{Cooled, Package, PackageError, Subject};
use crate::lookup::nearest;
use crate::materials;

/// Lengths below this are one place, m.
const SAME: f64 = 1e-9;

/// Where a layer lies; the middle of the lowest layer's underside is the origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Corner of least x, y, z, m.
    pub low: [f64; 3],
    /// Corner of greatest x, y, z, m.
    pub high: [f64; 3],
    /// Number of the layer that it lies on.
    pub beneath: Option<usize>,
}

impl Placed {
    /// Area shared with another, seen from above, m².
    pub fn overlap(&self, other: &Self) -> f64 {
        let along = |a: usize| (self.high[a].min(other.high[a]) - self.low[a].max(other.low[a])).max(0.0);
        along(0) * along(1)
    }

    /// Area, m².
    pub fn area(&self) -> f64 {
        self.overlap(self)
    }

    fn meets(&self, other: &Self) -> bool {
        (0..2).all(|a| self.low[a] < other.high[a] - SAME && other.low[a] < self.high[a] - SAME)
    }

    fn within(&self, other: &Self) -> bool {
        (0..2).all(|a| self.low[a] >= other.low[a] - SAME && self.high[a] <= other.high[a] + SAME)
    }
}

impl Package {
    /// Places every layer and checks everything.
    ///
    /// # Errors
    /// All that is wrong: no layers, names given twice, extents not positive, layers that do not touch or fill the
    /// same space, a die outside what carries it, unknown materials and layers, heated volumes and via fields that do
    /// not fit, no die, no cooled face.
    pub fn place(&self) -> Result<Vec<Placed>, Vec<PackageError>> {
        let mut wrong = Vec::new();
        self.check_layers(&mut wrong);
        let beneath = self.beneath(&mut wrong);
        self.check_vias(&mut wrong);
        self.check_cooling(&mut wrong);
        if !wrong.is_empty() {
            return Err(wrong);
        }
        let placed = self.place_layers(&beneath);
        self.check_places(&placed, &mut wrong);
        if wrong.is_empty() { Ok(placed) } else { Err(wrong) }
    }

    /// Number of a layer by name.
    pub fn layer(&self, name: &str) -> Option<usize> {
        self.layers.iter().position(|l| l.name == name)
    }

    /// Numbers of the dies, in the order of the layers.
    pub fn dies(&self) -> Vec<usize> {
        (0..self.layers.len()).filter(|k| self.layers[*k].heated.is_some()).collect()
    }

    fn check_layers(&self, wrong: &mut Vec<PackageError>) {
        if self.layers.is_empty() {
            wrong.push(error(Subject::Whole, "layer", "the package has no layers", "at least one"));
        } else if self.dies().is_empty() {
            let expected = "a layer with a heated depth";
            wrong.push(error(Subject::Whole, "layer", "no layer is a die: nothing is heated", expected));
        }
        for (k, layer) in self.layers.iter().enumerate() {
            let here = Subject::Layer(k);
            if self.layers[..k].iter().any(|l| l.name == layer.name) {
                let found = format!("two layers are named `{}`", layer.name);
                wrong.push(error(here, "name", found, "each layer its own name"));
            }
            for (key, value) in
                [("length", layer.length), ("width", layer.width), ("thickness", layer.thickness)]
            {
                if value.is_nan() || value <= SAME || !value.is_finite() {
                    let found = format!("{key} of `{}` is {value} m", layer.name);
                    wrong.push(error(here, key, found, "more than a nanometre"));
                }
            }
            if !layer.offset.iter().all(|x| x.is_finite()) {
                wrong.push(error(here, "offset", "not a number", "two lengths"));
            }
            self.check_material(&layer.material, here, "material", wrong);
            if let Some(heated) = layer.heated {
                if heated.depth.is_nan() || heated.depth <= SAME || heated.depth > layer.thickness + SAME {
                    let found = format!("`{}` is heated {} m deep", layer.name, heated.depth);
                    let expected = format!("between zero and its thickness, {} m", layer.thickness);
                    wrong.push(error(here, "heated-depth", found, expected));
                }
                let most = 0.5 * layer.length.min(layer.width);
                if heated.margin.is_nan() || heated.margin < 0.0 || heated.margin >= most - SAME {
                    let found = format!("`{}` has an unheated rim of {} m", layer.name, heated.margin);
                    let expected = format!("zero or more, and less than half its outline, {most} m");
                    wrong.push(error(here, "heated-margin", found, expected));
                }
            }
        }
    }

    fn check_material(&self, name: &str, subject: Subject, key: &'static str, wrong: &mut Vec<PackageError>) {
        let known = self.materials.iter().map(|m| m.name.as_str());
        let known = known.chain(materials::LIBRARY.iter().map(|m| m.name));
        let names: Vec<&str> = known.collect();
        if !names.contains(&name) {
            let suggestion = nearest(name, names.iter().copied()).map(str::to_string);
            let found = format!("unknown material `{name}`");
            let new = error(subject, key, found, names.join(", "));
            wrong.push(PackageError { suggestion, ..new });
        }
    }

    /// Number of the layer beneath each.
    fn beneath(&self, wrong: &mut Vec<PackageError>) -> Vec<Option<usize>> {
        let names = || self.layers.iter().map(|l| l.name.as_str());
        let mut beneath = Vec::new();
        for (k, layer) in self.layers.iter().enumerate() {
            let next = (k + 1 < self.layers.len()).then_some(k + 1);
            let Some(on) = &layer.on else {
                beneath.push(next);
                continue;
            };
            let found = self.layer(on);
            if found.is_none() {
                let suggestion = nearest(on, names()).map(str::to_string);
                let expected = names().collect::<Vec<_>>().join(", ");
                let new = error(Subject::Layer(k), "on", format!("no layer is named `{on}`"), expected);
                wrong.push(PackageError { suggestion, ..new });
            }
            beneath.push(found);
        }
        for k in 0..beneath.len() {
            let mut at = Some(k);
            for _ in 0..beneath.len() {
                at = at.and_then(|j| beneath[j]);
            }
            if at.is_some() {
                let found = format!("`{}` lies on itself, through others", self.layers[k].name);
                wrong.push(error(Subject::Layer(k), "on", found, "a layer further down"));
            }
        }
        beneath
    }

    fn check_vias(&self, wrong: &mut Vec<PackageError>) {
        for (k, layer) in self.layers.iter().enumerate() {
            for (j, via) in layer.vias.iter().enumerate() {
                let here = Subject::Via(k, j);
                let mut report = |key, found: String, expected: &str| {
                    wrong.push(error(here, key, found, expected));
                };
                for (key, value) in [("length", via.length), ("width", via.width)] {
                    if value.is_nan() || value <= SAME {
                        report(key, format!("{key} of a via field is {value} m"), "more than a nanometre");
                    }
                }
                if via.drill.is_nan() || via.drill <= 0.0 || via.drill >= via.pitch || via.pitch.is_nan() {
                    let found = format!("holes of {} m at a pitch of {} m", via.drill, via.pitch);
                    report("drill", found, "a hole, narrower than the pitch");
                }
                if via.plating.is_nan() || via.plating < 0.0 || 2.0 * via.plating > via.drill {
                    let found = format!("plating of {} m in holes of {} m", via.plating, via.drill);
                    report("plating", found, "zero or more, at most half the hole");
                }
                let outside = |a: usize, extent: f64, of: f64| {
                    let reach = via.offset[a].abs() + 0.5 * extent;
                    reach.is_nan() || reach > 0.5 * of + SAME
                };
                if outside(0, via.length, layer.length) || outside(1, via.width, layer.width) {
                    let found = format!("a via field reaches over the outline of `{}`", layer.name);
                    report("offset", found, "a field within its layer");
                }
                let apart = |other: &super::ViaField| {
                    let gap = |a: usize, x: f64, y: f64| {
                        (via.offset[a] - other.offset[a]).abs() >= 0.5 * (x + y) - SAME
                    };
                    gap(0, via.length, other.length) || gap(1, via.width, other.width)
                };
                if !layer.vias[..j].iter().all(apart) {
                    let found = format!("two via fields of `{}` overlap", layer.name);
                    report("offset", found, "fields beside one another");
                }
                if layer.heated.is_some() {
                    let found = format!("`{}` is a die", layer.name);
                    report("layer", found, "via fields in layers that are not heated");
                }
                if let Some(fill) = &via.fill {
                    self.check_material(fill, here, "fill", wrong);
                }
            }
        }
    }

    fn check_cooling(&self, wrong: &mut Vec<PackageError>) {
        if self.cooling.is_empty() {
            let found = "no face is cooled: heat could go nowhere";
            wrong.push(error(Subject::Whole, "cooling", found, "at least one [[cooling]]"));
        }
        for (k, cooling) in self.cooling.iter().enumerate() {
            let here = Subject::Cooling(k);
            if self.layer(&cooling.layer).is_none() {
                let names: Vec<&str> = self.layers.iter().map(|l| l.name.as_str()).collect();
                let suggestion = nearest(&cooling.layer, names.iter().copied()).map(str::to_string);
                let found = format!("no layer is named `{}`", cooling.layer);
                let new = error(here, "layer", found, names.join(", "));
                wrong.push(PackageError { suggestion, ..new });
            }
            if let Cooled::Film(x) | Cooled::Resistance(x) = cooling.by
                && !(x > 0.0 && x.is_finite())
            {
                wrong.push(error(here, "kind", format!("cooling of {x}"), "a positive number"));
            }
            if cooling.temperature.is_nan() || cooling.temperature <= -273.15 {
                let found = format!("{} °C is not above absolute zero", cooling.temperature);
                wrong.push(error(here, "temperature", found, "above -273.15 degC"));
            }
            let same = |other: &&super::Cooling| other.boundary == cooling.boundary;
            if let Some(first) = self.cooling[..k].iter().find(same)
                && first.temperature != cooling.temperature
            {
                let found = format!(
                    "`{}` is at {} °C here and at {} °C before",
                    cooling.boundary, cooling.temperature, first.temperature
                );
                wrong.push(error(here, "temperature", found, "one temperature per boundary"));
            }
            let face = |other: &super::Cooling| (other.layer.clone(), other.face);
            if self.cooling[..k].iter().any(|other| face(other) == face(cooling)) {
                let found = format!("a face of `{}` is cooled twice", cooling.layer);
                wrong.push(error(here, "face", found, "one [[cooling]] per face"));
            }
        }
    }

    /// Places layers bottom up; what each lies on is known.
    fn place_layers(&self, beneath: &[Option<usize>]) -> Vec<Placed> {
        let mut placed: Vec<Option<Placed>> = vec![None; self.layers.len()];
        // Each pass places at least one more; a package without cycles is done after as many passes as layers.
        for _ in 0..self.layers.len() {
            for (k, layer) in self.layers.iter().enumerate() {
                let (middle, z) = match beneath[k] {
                    None => ([0.0, 0.0], 0.0),
                    Some(j) => match &placed[j] {
                        Some(p) => ([0, 1].map(|a| 0.5 * (p.low[a] + p.high[a])), p.high[2]),
                        None => continue,
                    },
                };
                let x = middle[0] + layer.offset[0];
                let y = middle[1] + layer.offset[1];
                let low = [x - 0.5 * layer.length, y - 0.5 * layer.width, z];
                let high = [x + 0.5 * layer.length, y + 0.5 * layer.width, z + layer.thickness];
                placed[k] = Some(Placed { low, high, beneath: beneath[k] });
            }
        }
        placed.into_iter().flatten().collect()
    }

    fn check_places(&self, placed: &[Placed], wrong: &mut Vec<PackageError>) {
        let name = |k: usize| &self.layers[k].name;
        for (k, here) in placed.iter().enumerate() {
            let Some(j) = here.beneath else { continue };
            if !here.meets(&placed[j]) {
                let found = format!("`{}` does not touch `{}`, on which it lies", name(k), name(j));
                wrong.push(error(Subject::Layer(k), "offset", found, "outlines that overlap"));
            } else if self.layers[k].heated.is_some() && !here.within(&placed[j]) {
                let found = format!("die `{}` reaches over `{}`, which carries it", name(k), name(j));
                wrong.push(error(
                    Subject::Layer(k),
                    "offset",
                    found,
                    "a die within the outline of its carrier",
                ));
            }
            for (i, other) in placed.iter().enumerate().take(k) {
                let high = here.low[2] < other.high[2] - SAME && other.low[2] < here.high[2] - SAME;
                if high && here.meets(other) {
                    let found = format!("`{}` and `{}` fill the same space", name(i), name(k));
                    wrong.push(error(
                        Subject::Layer(k),
                        "offset",
                        found,
                        "layers beside or upon one another",
                    ));
                }
            }
        }
    }
}
