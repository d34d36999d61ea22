//! Whether a part and the package that it is put on mean the same dies.

use super::{Layer, Package};
use crate::part::{self, Die, Material, Part};

/// Relative difference of an area or a thickness from which on two statements of one die contradict each other.
const APART: f64 = 0.05;

impl Part {
    /// A die as the plate whose properties follow its temperature; `None` where thickness, material or the temperature at
    /// which the impedances hold is not stated.
    pub fn plate(&self, name: &str) -> Option<joulestep_engine::thermal::column::Plate> {
        let die = self.die(name)?;
        let material = crate::materials::Material::from(crate::materials::find(die.material?.layer()).ok()?);
        Some(material.plate(
            die.area,
            die.thickness?,
            die.heated_depth.unwrap_or(0.0),
            self.thermal.temperature?,
        ))
    }
}

impl Package {
    /// The layer that is a part's die of this name, or (where both have only one die) the one there is.
    pub fn layer_of_die(&self, name: &str, dies_of_part: usize) -> Option<&Layer> {
        let own = self.dies();
        let named = own.iter().map(|&k| &self.layers[k]).find(|l| l.name == name);
        named.or_else(|| match own.as_slice() {
            [only] if dies_of_part == 1 => Some(&self.layers[*only]),
            _ => None,
        })
    }

    /// How this package contradicts what a part says of its own dies, in words; see [`contradictions`].
    pub fn contradicts(&self, part: &Part) -> Vec<String> {
        let of = |die: &Die| {
            let layer = self.layer_of_die(&die.name, part.dies.len());
            layer.map_or(Vec::new(), |layer| contradictions(die, layer))
        };
        part.dies.iter().flat_map(of).chain(part.package.iter().flat_map(|p| self.outgrows(p))).collect()
    }

    /// How its case, and what stands on it, do not fit into the outline that a part states.
    fn outgrows(&self, outline: &part::Package) -> Vec<String> {
        let mut out = Vec::new();
        let Some(case) = self.layers.iter().find(|l| l.case) else { return out };
        let sides = |a: f64, b: f64| [a.max(b), a.min(b)];
        if let (Some(length), Some(width)) = (outline.length, outline.width) {
            let (stated, own) = (sides(length, width), sides(case.length, case.width));
            if own.iter().zip(stated).any(|(own, stated)| *own > stated * (1.0 + APART)) {
                let [a, b, c, d] = [length, width, case.length, case.width].map(|x| 1e3 * x);
                out.push(format!(
                    "`length` and `width` of [package] in the part are {a:.2} mm and {b:.2} mm, the case, layer `{}` of the \
                     package, has {c:.2} mm and {d:.2} mm",
                    case.name
                ));
            }
        }
        if let (Some(height), Some(extent)) = (outline.height, self.extent())
            && extent.height - extent.below_case > height * (1.0 + APART)
        {
            let [a, b] = [height, extent.height - extent.below_case].map(|x| 1e3 * x);
            out.push(format!(
                "`height` of [package] in the part is {a:.2} mm, the layers from the case upwards are {b:.2} mm high"
            ));
        }
        out
    }
}

/// How a die of a part and a layer of a package, which are the same die, contradict each other: area and thickness that
/// differ by more than 5 %, another semiconductor. In words, with both numbers and where they stand. The area of a part
/// is the one that conducts: within the layer's unheated rim.
pub fn contradictions(die: &Die, layer: &Layer) -> Vec<String> {
    let apart = |a: f64, b: f64| (a - b).abs() > APART * a.min(b);
    let mut out = Vec::new();
    let mut report = |key: &str, of_part: String, of_layer: String| {
        out.push(format!(
            "`{key}` of [die.{}] in the part is {of_part}, layer `{}` of the package has {of_layer}",
            die.name, layer.name
        ));
    };
    let margin = layer.heated.as_ref().map_or(0.0, |h| h.margin);
    let area = (layer.length - 2.0 * margin) * (layer.width - 2.0 * margin);
    if apart(die.area, area) {
        let [length, width, rim] = [layer.length, layer.width, margin].map(|x| 1e3 * x);
        let of_layer = format!(
            "{:.2} mm² (`length` {length:.2} mm, `width` {width:.2} mm, less `heated-margin` {rim:.2} mm all around)",
            1e6 * area
        );
        report("area", format!("{:.2} mm²", 1e6 * die.area), of_layer);
    }
    if let Some(thickness) = die.thickness.filter(|&t| apart(t, layer.thickness)) {
        let [a, b] = [thickness, layer.thickness].map(|x| format!("{:.0} µm", 1e6 * x));
        report("thickness", a, b);
    }
    // A package may name materials of its own, of which nothing is known here.
    let of_layer = match layer.material.as_str() {
        "silicon" => Some(Material::Silicon),
        "silicon-carbide-4h" => Some(Material::SiliconCarbide),
        _ => None,
    };
    if let (Some(a), Some(b)) = (die.material, of_layer)
        && a != b
    {
        report("material", a.key().into(), format!("`{}`", layer.material));
    }
    out
}
