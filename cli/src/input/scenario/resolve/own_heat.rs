//! Heat paths that belong to a component: its part's own impedance to the case, or a package whose dies are its dies.

use super::Resolve;
use super::parts::Parts;
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::words::one_of;
use crate::input::scenario::resolved::{ArrangementSpec, ComponentSpec, ThermalSpec};
use crate::input::scenario::sections::Component;
use crate::input::scenario::sections::heat::{
    Cells, Chain, Foster, HeatNode, HeatPackage, HeatPart, Link, Thermal,
};
use joulestep_models::part::Part;

/// The parts of a scenario by the components, or the places of the arrangement, that they are of.
pub(super) struct Owners<'a> {
    /// Name of a component, and its part where it has one.
    all: Vec<(String, Option<&'a Part>)>,
}

impl<'a> Owners<'a> {
    pub(super) fn new(
        components: &[Fields],
        parts: &'a Parts,
        arrangement: Option<&'a ArrangementSpec>,
    ) -> Self {
        let of = |f: &Fields| {
            let part = f.get(Component::part).and_then(|part: Named| parts.of(part.span.file, &part.name));
            Some((f.get(Component::name)?, part))
        };
        let mut all: Vec<_> = components.iter().filter_map(of).collect();
        if let Some(spec) = arrangement {
            let places = spec.arrangement.places.iter();
            all.extend(places.map(|p| (p.to_string(), spec.parts.get(*p).or_else(|| spec.parts.get("")))));
        }
        Self { all }
    }

    fn part(&self, name: &str) -> Option<Option<&'a Part>> {
        self.all.iter().find(|o| o.0 == name).map(|o| o.1)
    }
}

impl Resolve<'_> {
    /// Chains of the impedances that parts state, each from its die to where the case stands.
    pub(super) fn impedances(&mut self, tables: &[Fields], owners: &Owners<'_>, spec: &mut ThermalSpec) {
        for table in tables {
            let Some(HeatPart { of, end, interface }) = HeatPart::read(table) else { continue };
            let key = table.key(HeatPart::of);
            let Some(part) = self.owner(&key, &of, owners) else { continue };
            if part.thermal.impedance.is_empty() {
                let found = format!("part `{}` states no transient thermal impedance", part.name);
                let expected = "a part with [[thermal.impedance]], or chains or a package";
                self.report(&of.span, key, found, expected);
                continue;
            }
            let named = |name: String| Named { name, span: of.span.clone() };
            let end = if interface > 0.0 {
                let case = named(format!("{}-case", of.name));
                spec.nodes.push(HeatNode { name: case.clone(), capacitance: 0.0 });
                spec.links.push(Link { from: case.clone(), to: end, resistance: interface });
                case
            } else {
                end
            };
            for z in &part.thermal.impedance {
                let name = named(format!("{}-{}", of.name, z.die));
                let (resistance, time_constant) = z.terms.iter().copied().unzip();
                let kind = Cells::Foster(Foster { resistance, time_constant });
                let end = z.on.as_ref().map_or(end.clone(), |on| named(format!("{}-{on}", of.name)));
                spec.plates.extend(part.plate(&z.die).map(|plate| (name.name.clone(), plate)));
                spec.chains.push(Chain { name, kind, end, heated: true });
            }
        }
    }

    /// The part that a table's `of` means.
    fn owner<'o>(&mut self, key: &str, of: &Named, owners: &Owners<'o>) -> Option<&'o Part> {
        match owners.part(&of.name) {
            Some(Some(part)) => return Some(part),
            Some(None) => {
                let found = format!("`{}` has no part", of.name);
                self.report(&of.span, key, found, "a component with `part`");
            }
            None => {
                let names: Vec<&str> = owners.all.iter().map(|o| o.0.as_str()).collect();
                let found = format!("there is no component `{}`", of.name);
                let d = Diagnostic::new(&of.span, key, found, one_of(&names));
                self.diagnostics.push(d.suggest(nearest(&of.name, names)));
            }
        }
        None
    }

    /// Ties dies of components to the paths that are theirs.
    pub(super) fn own_heat(
        &mut self,
        thermal: &Thermal,
        spec: &ThermalSpec,
        components: &mut [Option<ComponentSpec>],
    ) {
        let mut taken: Vec<String> = Vec::new();
        let of_part = |f: &Fields| Some((HeatPart::read(f)?.of, f.key(HeatPart::of), None));
        let of_package = |f: &Fields| {
            let HeatPackage { name, of, .. } = HeatPackage::read(f)?;
            Some((of?, f.key(HeatPackage::of), Some(name.name)))
        };
        let of_packages = thermal.package.iter().filter_map(of_package);
        for (of, key, package) in thermal.part.iter().filter_map(of_part).chain(of_packages) {
            if taken.contains(&of.name) {
                let found = format!("two heat paths are `{}`'s", of.name);
                self.report(&of.span, key, found, "one of [[thermal.part]] and [[thermal.package]]");
                continue;
            }
            taken.push(of.name.clone());
            let component = components.iter_mut().flatten().find(|c| c.name.name == of.name);
            let Some(component) = component else {
                // Dies of an arrangement find inputs by their names; of a part, the missing name is reported already.
                if package.is_some() {
                    let names: Vec<&str> =
                        components.iter().flatten().map(|c| c.name.name.as_str()).collect();
                    let found = format!("there is no component `{}`", of.name);
                    let d = Diagnostic::new(&of.span, key, found, one_of(&names));
                    let near = nearest(&of.name, names);
                    self.diagnostics.push(d.suggest(near));
                }
                continue;
            };
            if !component.heat.is_empty() {
                let found = format!("`{}` states `heat` too", of.name);
                self.report(&of.span, key, found, "one of the two");
                continue;
            }
            let package = package.and_then(|name| spec.packages.iter().find(|p| p.name.name == name));
            let inputs: Vec<(String, String)> = match package {
                Some(p) => {
                    let names = p.package.dies().into_iter().map(|k| p.package.layers[k].name.clone());
                    names.zip(p.inputs.iter().cloned()).collect()
                }
                None => {
                    let own = format!("{}-", of.name);
                    let chains = spec.chains.iter().map(|c| c.name.name.as_str());
                    let of_die = |name: &str| Some((name.strip_prefix(&own)?.to_string(), name.to_string()));
                    chains.filter_map(of_die).collect()
                }
            };
            let named = |name: &str| Named { name: name.to_string(), span: of.span.clone() };
            // A package of one die is that of a part of one die, whatever their names.
            component.heat = match (inputs.as_slice(), component.dies.len()) {
                ([(_, input)], 1) => vec![(None, named(input))],
                (all, _) => all.iter().map(|(die, input)| (Some(named(die)), named(input))).collect(),
            };
        }
    }
}
