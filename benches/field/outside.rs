//! faer's supernodal Cholesky on the same matrix.

use std::time::Instant;

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::linalg::SupernodalThreshold;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMat, Triplet};
use faer::{Conj, MatMut, Par, Side};
use joulestep_engine::thermal::field::system::System;

/// Orders (approximate minimum degree), factorises and solves once, on one thread.
pub fn faer(system: &System, shift: f64) -> String {
    let n = system.cells();
    let matrix = system.matrix(shift);
    let lower = matrix.iter().filter(|(_, (i, j))| i >= j);
    let entries: Vec<Triplet<usize, usize, f64>> =
        lower.map(|(x, (i, j))| Triplet::new(i as usize, j as usize, *x)).collect();
    let matrix = SparseColMat::try_new_from_triplets(n, n, &entries).expect("a matrix");
    let clock = Instant::now();
    let ordering = SymmetricOrdering::Amd;
    let params = CholeskySymbolicParams {
        supernodal_flop_ratio_threshold: SupernodalThreshold::FORCE_SUPERNODAL,
        ..Default::default()
    };
    let symbolic =
        factorize_symbolic_cholesky(matrix.symbolic(), Side::Lower, ordering, params).expect("memory");
    let ordered = clock.elapsed().as_secs_f64();
    let clock = Instant::now();
    let mut values = vec![0.0; symbolic.len_val()];
    let scratch = symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default());
    let mut memory = MemBuffer::new(scratch);
    symbolic
        .factorize_numeric_llt(
            &mut values,
            matrix.as_ref(),
            Side::Lower,
            Default::default(),
            Par::Seq,
            MemStack::new(&mut memory),
            Default::default(),
        )
        .expect("positive definite");
    let factored = clock.elapsed().as_secs_f64();
    let mut x = vec![1.0; n];
    let mut memory = MemBuffer::new(symbolic.solve_in_place_scratch::<f64>(1, Par::Seq));
    let clock = Instant::now();
    LltRef::<usize, f64>::new(&symbolic, &values).solve_in_place_with_conj(
        Conj::No,
        MatMut::from_column_major_slice_mut(&mut x, n, 1),
        Par::Seq,
        MemStack::new(&mut memory),
    );
    let solved = clock.elapsed().as_secs_f64();
    let entries = symbolic.len_val() as f64 / 1e6;
    format!("order {ordered:.2} s, factor {factored:.2} s, solve {solved:.2} s, {entries:.0} M entries")
}
