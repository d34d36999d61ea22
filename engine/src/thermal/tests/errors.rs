//! Every error, with what it says.

use super::super::convert::{cauer_to_foster, foster_to_cauer};
use super::super::error::ThermalError;
use super::super::network::{Boundary, FosterMatrixTerm, FosterTerm, Network, NetworkBuilder};
use super::{close, foster, run};

#[test]
fn every_error_names_what_was_found() {
    let base = || NetworkBuilder::new().boundary("ambient", 25.0).node("die", 0.1).input("die", "die");
    let linked = || base().resistance("die", "ambient", 1.0);
    assert!(linked().build().is_ok());
    let text = |b: NetworkBuilder| b.build().unwrap_err().to_string();
    let cases = [
        (base().resistance("die", "ambient", -1.0), "`die` to `ambient` is -1 K/W"),
        (base().resistance("die", "ambient", f64::NAN), "is NaN K/W"),
        (linked().node("case", -2.0), "node `case` is -2 J/K"),
        (
            linked().input("x", "nowhere"),
            "heat input `x` names `nowhere`, which does not exist; there are `ambient`, `die`",
        ),
        (linked().input("x", "ambient"), "heat input `x` enters boundary `ambient`"),
        (linked().input("die", "die"), "two heat inputs are named `die`"),
        (linked().node("ambient", 1.0), "two nodes or boundaries are named `ambient`"),
        (linked().resistance("die", "die", 1.0), "both ends at `die`"),
        (linked().node("loose", 1.0), "node `loose` to a boundary"),
        (base(), "node `die` to a boundary"),
        (linked().boundary("sink", -300.0), "boundary `sink` is -300 °C"),
        (linked().ladder("l", &[], "ambient"), "ladder `l` has no cells"),
        (NetworkBuilder::new().node("die", 1.0).input("die", "die"), "the heat network has no boundary"),
        (NetworkBuilder::new().boundary("a", 1.0), "the heat network has no heat input"),
    ];
    for (builder, expected) in cases {
        let found = text(builder);
        assert!(found.contains(expected), "{found}\n{expected}");
    }
    let term = |tau: f64, r: [f64; 9]| vec![FosterMatrixTerm { time_constant: tau, resistances: r.to_vec() }];
    let symmetric = [1.0, 0.2, 0.0, 0.2, 1.0, 0.0, 0.0, 0.0, 1.0];
    assert!(foster(term(0.1, symmetric)).is_ok());
    let found = |terms| foster(terms).unwrap_err();
    let mut bad = symmetric;
    bad[1] = 0.3;
    assert!(matches!(
        found(term(0.1, bad)),
        ThermalError::NotReciprocal { there: 0.2, back: 0.3, .. }
            | ThermalError::NotReciprocal { there: 0.3, back: 0.2, .. }
    ));
    bad[1] = 2.0;
    bad[3] = 2.0;
    assert!(
        matches!(found(term(0.1, bad)), ThermalError::NotPassive { eigenvalue, .. } if close(eigenvalue, -1.0, 1e-12))
    );
    assert!(matches!(found(term(-0.1, symmetric)), ThermalError::BadTimeConstant { value: -0.1, .. }));
    assert!(matches!(found(Vec::new()), ThermalError::Missing { what: "terms", .. }));
    let short = vec![FosterMatrixTerm { time_constant: 1.0, resistances: vec![1.0] }];
    assert!(matches!(found(short), ThermalError::WrongSize { expected: 9, found: 1, .. }));
    // A mutual term with a time constant of its own cannot be passive.
    let own = |tau| [FosterTerm { resistance: 0.5, time_constant: tau }];
    let lists: [(usize, usize, &[FosterTerm]); 3] = [(0, 0, &own(0.1)), (1, 1, &own(0.1)), (0, 1, &own(0.3))];
    let boundary = Boundary { name: "case".into(), temperature: 40.0 };
    let error = Network::foster_lists(&["a", "b"], &lists, boundary.clone()).unwrap_err();
    assert!(matches!(error, ThermalError::NotPassive { time_constant: 0.3, .. }));
    let twice: [(usize, usize, &[FosterTerm]); 2] = [(0, 1, &own(0.1)), (1, 0, &own(0.1))];
    assert!(matches!(
        Network::foster_lists(&["a", "b"], &twice, boundary).unwrap_err(),
        ThermalError::DuplicateName { .. }
    ));
    assert!(matches!(
        foster_to_cauer(&[FosterTerm { resistance: 0.0, time_constant: 1.0 }]).unwrap_err(),
        ThermalError::BadResistance { .. }
    ));
    assert!(foster_to_cauer(&[]).is_err() && cauer_to_foster(&[]).is_err());
    let network = Network::foster("die", &own(0.1), 25.0).unwrap();
    let mut heat = run(&network);
    assert!(matches!(heat.modal().node("die.2"), Err(ThermalError::NoPhysicalNodes { .. })));
    assert!(heat.start_nodes(&[1.0]).is_err() && heat.start_uniform(26.0).is_err());
    assert!(heat.start_uniform(25.0).is_ok() && heat.start_holding(&[1.0, 2.0]).is_err());
}
