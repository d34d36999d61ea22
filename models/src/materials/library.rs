//! The library.

use super::Shape::{Flat, Points, Power};
use super::{Known, Shape, Sourced};

const METALS: &str = "Incropera et al., Fundamentals of Heat and Mass Transfer, Table A.1";
const NONMETALS: &str = "Incropera et al., Fundamentals of Heat and Mass Transfer, Table A.2";
const ASSUMED: &str = "assumed, without a source";

const fn seen(shape: Shape, source: &'static str) -> Sourced {
    Sourced { shape, source, seen: true }
}

const fn assumed(shape: Shape, source: &'static str) -> Sourced {
    Sourced { shape, source, seen: false }
}

/// Materials by name: a row each of conductivity (and through the layer, where it differs), density, heat capacity.
macro_rules! library {
    (maybe) => { None };
    (maybe $of:expr) => { Some($of) };
    ($($name:literal, $help:literal:
        conductivity $conductivity:expr; $(through $through:expr;)? density $density:expr; heat_capacity $heat:expr;
    )*) => {
        &[$(Known {
            name: $name,
            help: $help,
            conductivity: $conductivity,
            through: library!(maybe $($through)?),
            density: $density,
            heat_capacity: $heat,
        }),*]
    };
}

/// The materials that packages may name.
pub const LIBRARY: &[Known] = library! {
    "copper", "pure copper":
        conductivity seen(Points(&[(200.0, 413.0), (300.0, 401.0), (400.0, 393.0), (600.0, 379.0), (800.0, 366.0)]),
            METALS);
        density seen(Flat(8933.0), METALS);
        heat_capacity seen(Points(&[(200.0, 356.0), (300.0, 385.0), (400.0, 397.0), (600.0, 417.0), (800.0, 433.0)]),
            METALS);
    "aluminium", "pure aluminium; alloys of heatsinks conduct 15 % to 40 % less":
        conductivity seen(Points(&[(200.0, 237.0), (300.0, 237.0), (400.0, 240.0), (600.0, 231.0), (800.0, 218.0)]),
            METALS);
        density seen(Flat(2702.0), METALS);
        heat_capacity seen(Points(&[(200.0, 798.0), (300.0, 903.0), (400.0, 949.0), (600.0, 1033.0), (800.0, 1146.0)]),
            METALS);
    "silicon", "single-crystal silicon":
        conductivity seen(Points(&[(200.0, 264.0), (300.0, 148.0), (400.0, 98.9), (600.0, 61.9), (800.0, 42.2)]),
            METALS);
        density seen(Flat(2330.0), METALS);
        heat_capacity seen(Points(&[(200.0, 556.0), (300.0, 712.0), (400.0, 790.0), (600.0, 867.0), (800.0, 913.0)]),
            METALS);
    "silicon-carbide-4h", "single-crystal 4H silicon carbide, c axis through the layer":
        conductivity assumed(Power(390.0, 1.4),
            "assumed; 330 to 390 at 300 K, exponent 1.3 to 1.5; for 6H, 387 and 1.49 across the c axis: Burgemeister et al., J. Appl. Phys. 50 (1979) 5790");
        through assumed(Power(280.0, 1.3),
            "assumed, for n-type substrates of about 0.02 ohm cm from 300 K to 600 K, within 250 to 350; 280 and T^-1.3 in n-type crystals: Wei et al., J. Appl. Phys. 113 (2013) 053503; 387 across the c axis, about 30 % less along it in 6H: Burgemeister et al., J. Appl. Phys. 50 (1979) 5790; more in pure crystals: Protik et al., Mater. Today Phys. 1 (2017) 31");
        density assumed(Flat(3210.0), ASSUMED);
        heat_capacity seen(Points(&[(300.0, 675.0), (400.0, 880.0), (600.0, 1050.0), (800.0, 1135.0), (1000.0, 1195.0)]),
            "Incropera et al., Table A.2 (polycrystal; heat capacity hardly depends on the crystal)");
    "silver", "bulk silver":
        conductivity seen(Points(&[(300.0, 429.0), (400.0, 425.0), (600.0, 412.0)]), METALS);
        density seen(Flat(10_500.0), METALS);
        heat_capacity seen(Flat(235.0), METALS);
    "silver-sintered", "sintered silver joint of middling porosity":
        conductivity seen(Flat(180.0),
            "between 126 (23.4 % porosity) and 229 (8.4 %): Mater. Today Commun. 29 (2021) 102772");
        density assumed(Flat(8500.0), "assumed, without a source, within 8000 to 9600 by porosity");
        heat_capacity seen(Flat(235.0), METALS);
    "tin", "pure tin":
        conductivity seen(Points(&[(200.0, 73.3), (300.0, 66.6), (400.0, 62.2)]), METALS);
        density seen(Flat(7310.0), METALS);
        heat_capacity seen(Flat(227.0), METALS);
    "solder-sac305", "tin-silver-copper solder, 3 % silver, 0.5 % copper":
        conductivity seen(Flat(58.0), "public table of solder alloys; spread 55 to 64");
        density seen(Flat(7380.0), "public table of solder alloys");
        heat_capacity assumed(Flat(220.0), ASSUMED);
    "solder-high-lead", "lead solder for die attach":
        conductivity seen(Flat(36.0), "Sci. Rep. 13 (2023) s41598-023-46538-6, Table 1");
        density assumed(Flat(11_000.0), ASSUMED);
        heat_capacity assumed(Flat(130.0), ASSUMED);
    "fr4", "glass-epoxy board":
        conductivity seen(Flat(1.059),
            "Sarvar, Poole & Witting, J. Electron. Mater. 19 (1990) 1345; spread 0.6 to 1.1");
        through seen(Flat(0.343),
            "Sarvar, Poole & Witting, J. Electron. Mater. 19 (1990) 1345; spread 0.25 to 0.45");
        density assumed(Flat(1850.0), ASSUMED);
        heat_capacity assumed(Flat(1100.0), ASSUMED);
    "alumina", "polycrystalline aluminium oxide":
        conductivity seen(Points(&[(200.0, 55.0), (300.0, 36.0), (400.0, 26.4), (600.0, 15.8)]), NONMETALS);
        density seen(Flat(3970.0), NONMETALS);
        heat_capacity seen(Points(&[(300.0, 765.0), (400.0, 940.0)]), NONMETALS);
    "aluminium-nitride", "aluminium nitride ceramic":
        conductivity assumed(Flat(165.0), "assumed, without a source, within 150 to 180");
        density assumed(Flat(3260.0), ASSUMED);
        heat_capacity assumed(Flat(740.0), ASSUMED);
    "silicon-nitride", "silicon nitride ceramic":
        conductivity assumed(Flat(75.0), "assumed, without a source, within 60 to 90");
        density assumed(Flat(3200.0), ASSUMED);
        heat_capacity assumed(Flat(700.0), ASSUMED);
    "insulating-pad", "filled elastomer pad; measured resistance per area beats any conductivity":
        conductivity assumed(Flat(3.0), "assumed, without a source, within 1 to 6");
        density assumed(Flat(2500.0), ASSUMED);
        heat_capacity assumed(Flat(1000.0), ASSUMED);
    "thermal-grease", "filled grease; measured resistance per area beats any conductivity":
        conductivity assumed(Flat(2.0), "assumed, without a source, within 0.8 to 4");
        density assumed(Flat(2500.0), ASSUMED);
        heat_capacity assumed(Flat(1000.0), ASSUMED);
    "mould-compound", "epoxy mould compound":
        conductivity assumed(Flat(0.7), ASSUMED);
        density assumed(Flat(1900.0), ASSUMED);
        heat_capacity assumed(Flat(900.0), ASSUMED);
};
