//! Heat paths that belong to a component: its part's own impedance to the case, or a package whose dies are its dies.

use super::Resolve;
use super::parts::Parts;
use crate::diagnostic::{Diagnostic, nearest};
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::words::one_of;
use crate::input::scenario::resolved::{ArrangementSpec, Cells, ChainSpec, ComponentSpec, ThermalSpec};
use joulestep_models::part::Part;

/// The parts of a scenario by the components, or the places of the arrangement, that they are of.
pub(super) struct Owners<'a> {
    /// Name of a component, and its part where it has one.
    all: Vec<(&'a str, Option<&'a Part>)>,
}

impl<'a> Owners<'a> {
    pub(super) fn new(root: &'a Fields, parts: &'a Parts, arrangement: Option<&'a ArrangementSpec>) -> Self {
        let of = |f: &'a Fields| {
            let part = f.text("part").and_then(|name| parts.of(f.span_of("part").file, name));
            Some((f.text("name")?, part))
        };
        let mut all: Vec<_> = root.tables("component").iter().filter_map(of).collect();
        if let Some(spec) = arrangement {
            let places = spec.arrangement.places.iter();
            all.extend(places.map(|p| (*p, spec.parts.get(*p).or_else(|| spec.parts.get("")))));
        }
        Self { all }
    }

    fn part(&self, name: &str) -> Option<Option<&'a Part>> {
        self.all.iter().find(|o| o.0 == name).map(|o| o.1)
    }
}

impl Resolve<'_> {
    /// Chains of the impedances that parts state, each from its die to where the case stands.
    pub(super) fn impedances(&mut self, f: &Fields, owners: &Owners<'_>, spec: &mut ThermalSpec) {
        for table in f.tables("part") {
            let (Some(of), Some(end)) = (table.named("of"), table.named("end")) else { continue };
            let Some(part) = self.owner(table, &of, owners) else { continue };
            if part.thermal.impedance.is_empty() {
                let found = format!("part `{}` states no transient thermal impedance", part.name);
                let expected = "a part with [[thermal.impedance]], or chains or a package";
                self.report(&of.span, table.key("of"), found, expected);
                continue;
            }
            let named = |name: String| Named { name, span: of.span.clone() };
            let end = match table.number("interface").filter(|r| *r > 0.0) {
                Some(resistance) => {
                    let case = named(format!("{}-case", of.name));
                    spec.nodes.push((case.clone(), 0.0));
                    spec.links.push((case.clone(), end, resistance));
                    case
                }
                None => end,
            };
            for z in &part.thermal.impedance {
                let name = named(format!("{}-{}", of.name, z.die));
                let cells = Cells::Foster(z.terms.clone());
                let end = z.on.as_ref().map_or(end.clone(), |on| named(format!("{}-{on}", of.name)));
                let plate = part.plate(&z.die);
                spec.chains.push(ChainSpec { name, end, heated: true, cells, plate });
            }
        }
    }

    /// The part that a table's `of` means.
    fn owner<'o>(&mut self, table: &Fields, of: &Named, owners: &Owners<'o>) -> Option<&'o Part> {
        match owners.part(&of.name) {
            Some(Some(part)) => return Some(part),
            Some(None) => {
                let found = format!("`{}` has no part", of.name);
                self.report(&of.span, table.key("of"), found, "a component with `part`");
            }
            None => {
                let names: Vec<&str> = owners.all.iter().map(|o| o.0).collect();
                let found = format!("there is no component `{}`", of.name);
                let d = Diagnostic::new(&of.span, table.key("of"), found, one_of(&names));
                self.diagnostics.push(d.suggest(nearest(&of.name, names)));
            }
        }
        None
    }

    /// Ties dies of components to the paths that are theirs.
    pub(super) fn own_heat(
        &mut self,
        thermal: &Fields,
        spec: &ThermalSpec,
        components: &mut [Option<ComponentSpec>],
    ) {
        let mut taken: Vec<String> = Vec::new();
        let tables = thermal.tables("part").iter().chain(thermal.tables("package"));
        for table in tables {
            let Some(of) = table.named("of") else { continue };
            if taken.contains(&of.name) {
                let found = format!("two heat paths are `{}`'s", of.name);
                self.report(
                    &of.span,
                    table.key("of"),
                    found,
                    "one of [[thermal.part]] and [[thermal.package]]",
                );
                continue;
            }
            taken.push(of.name.clone());
            let component = components.iter_mut().flatten().find(|c| c.name.name == of.name);
            let Some(component) = component else {
                // Dies of an arrangement find inputs by their names; of a part, the missing name is reported already.
                if table.has("package") {
                    let names: Vec<&str> =
                        components.iter().flatten().map(|c| c.name.name.as_str()).collect();
                    let found = format!("there is no component `{}`", of.name);
                    let d = Diagnostic::new(&of.span, table.key("of"), found, one_of(&names));
                    let near = nearest(&of.name, names);
                    self.diagnostics.push(d.suggest(near));
                }
                continue;
            };
            if !component.heat.is_empty() {
                let found = format!("`{}` states `heat` too", of.name);
                self.report(&of.span, table.key("of"), found, "one of the two");
                continue;
            }
            let package = spec.packages.iter().find(|p| table.text("name") == Some(p.name.name.as_str()));
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
