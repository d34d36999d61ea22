//! A program that is carried to other machines: it tells what it was built for, and refuses in words where it cannot
//! run.

use joulestep::processor::{FEATURES, TARGET, baseline};

use crate::common::program::joulestep;

#[test]
fn the_version_states_what_the_program_was_built_for() {
    let [short, full] = [joulestep(&["-V"]), joulestep(&["--version"])].map(|done| {
        assert_eq!(done.code, 0, "{}", done.err);
        done.out
    });
    for report in [&short, &full] {
        assert!(report.starts_with(concat!("joulestep ", env!("CARGO_PKG_VERSION"))), "{report}");
        assert!(report.contains(TARGET) && report.contains(baseline()), "{report}");
    }
    let named = full.lines().find_map(|line| line.strip_prefix("must have: ")).unwrap();
    for feature in FEATURES {
        assert_eq!(named.split(' ').any(|name| name == feature.name), feature.built_in, "{}", feature.name);
    }
    // What the compiler says of this very test.
    assert_eq!(named.split(' ').any(|name| name == "fma"), cfg!(target_feature = "fma"));
}

/// A processor of 2008, emulated: it is x86-64-v2 (x86-64 psABI), without AVX.
#[test]
#[cfg(all(target_os = "linux", target_arch = "x86_64"))]
#[cfg_attr(not(with_emulator), ignore = "no emulator of processors (Debian: qemu-user)")]
fn a_processor_that_lacks_something_is_refused_before_anything_else() {
    let lacking: Vec<&str> = FEATURES.iter().filter(|f| f.built_in && f.level > 2).map(|f| f.name).collect();
    let mut command = std::process::Command::new("qemu-x86_64");
    command.args(["-cpu", "Nehalem", env!("CARGO_BIN_EXE_joulestep"), "--version"]);
    let done = command.output().unwrap();
    let (out, err) = (String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr));
    if lacking.is_empty() {
        assert_eq!(done.status.code(), Some(0), "{out}{err}");
        return;
    }
    assert_eq!(done.status.code(), Some(i32::from(joulestep::exit::UNSUITED)), "{out}{err}");
    let report = err.lines().find_map(|line| line.split_once("lacks what the program was built for: "));
    let named: Vec<&str> = report.expect("it says so").1.split(' ').collect();
    assert!(out.is_empty() && lacking.iter().all(|name| named.contains(name)), "{named:?} {lacking:?}");
    assert!(err.contains("target-cpu=x86-64-v2"), "{err}");
}

/// nalgebra's products take kernels that are chosen when the program runs. On processors with FMA all of them add fused
/// and in order, 256 terms at a time, so they have the same bits: those of IEEE 754's fusedMultiplyAdd in a plain loop.
/// (Without FMA they round twice, and last bits differ.)
#[test]
#[cfg(target_feature = "fma")]
fn products_of_matrices_do_not_depend_on_the_processor() {
    use nalgebra::DMatrix;
    for (m, inner, n) in [(6, 6, 6), (7, 19, 13), (8, 64, 8), (30, 31, 33), (9, 300, 70)] {
        let number = |i: usize, j: usize| ((i * 7919 + j * 104_729 + m) % 1009) as f64 / 97.0 - 5.0;
        let (a, b) = (DMatrix::from_fn(m, inner, number), DMatrix::from_fn(inner, n, number));
        let c = DMatrix::from_fn(m, n, |i, j| number(j, i));
        let (product, mut less) = (&a * &b, c.clone());
        less.gemm(-1.0, &a, &b, 1.0);
        for (i, j) in (0..m).flat_map(|i| (0..n).map(move |j| (i, j))) {
            let terms: Vec<usize> = (0..inner).collect();
            let blocks = terms
                .chunks(256)
                .map(|part| part.iter().fold(0.0, |sum, &k| f64::mul_add(a[(i, k)], b[(k, j)], sum)));
            let (mut whole, mut rest) = (0.0, c[(i, j)]);
            for block in blocks {
                whole += block;
                rest -= block;
            }
            assert_eq!(product[(i, j)].to_bits(), f64::to_bits(whole), "{m} {inner} {n}: {i} {j}");
            assert_eq!(less[(i, j)].to_bits(), f64::to_bits(rest), "{m} {inner} {n}: {i} {j}");
        }
    }
}
