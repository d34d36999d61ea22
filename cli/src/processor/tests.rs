//! The decision, on processors that are not here.

use super::*;

/// What a processor answers, by leaf and subleaf; zero elsewhere.
struct Simulated {
    answers: &'static [((u32, u32), [u32; 4])],
    kept: u64,
}

impl Processor for Simulated {
    fn cpuid(&self, leaf: u32, subleaf: u32) -> [u32; 4] {
        self.answers.iter().find(|(at, _)| *at == (leaf, subleaf)).map_or([0; 4], |(_, answer)| *answer)
    }
    fn kept(&self) -> u64 {
        self.kept
    }
}

// Public dumps of three processors (from memory); the vendor's letters in leaf 0 are left out.
const NEHALEM: Simulated = Simulated {
    answers: &[
        ((0, 0), [0xb, 0, 0, 0]),
        ((1, 0), [0x106a5, 0x100800, 0x0098_e3bd, 0xbfeb_fbff]),
        ((0x8000_0000, 0), [0x8000_0008, 0, 0, 0]),
        ((0x8000_0001, 0), [0, 0, 0x1, 0x2810_0800]),
    ],
    kept: 0,
};
const HASWELL: Simulated = Simulated {
    answers: &[
        ((0, 0), [0xd, 0, 0, 0]),
        ((1, 0), [0x306c3, 0x100800, 0x7ffa_fbbf, 0xbfeb_fbff]),
        ((7, 0), [0, 0x0000_27ab, 0, 0]),
        ((13, 1), [1, 0, 0, 0]),
        ((0x8000_0000, 0), [0x8000_0008, 0, 0, 0]),
        ((0x8000_0001, 0), [0, 0, 0x21, 0x2c10_0800]),
    ],
    kept: 0b111,
};
const SKYLAKE_X: Simulated = Simulated {
    answers: &[
        ((0, 0), [0x16, 0, 0, 0]),
        ((1, 0), [0x50654, 0x100800, 0x7ffe_fbff, 0xbfeb_fbff]),
        ((7, 0), [0, 0xd39f_fffb, 0, 0]),
        ((13, 1), [0xf, 0, 0, 0]),
        ((0x8000_0000, 0), [0x8000_0008, 0, 0, 0]),
        ((0x8000_0001, 0), [0, 0, 0x121, 0x2c10_0800]),
    ],
    kept: 0b1110_0111,
};

/// What is said where a build for a level meets a processor; nothing where it runs.
fn complaint(processor: &Simulated, built_for: usize) -> Option<String> {
    let mut words = String::new();
    let granted = |f: &Feature| (1..=built_for).contains(&f.level);
    let refused = refused(processor, granted, |text| words.push_str(text));
    assert_eq!(refused, !words.is_empty());
    refused.then_some(words)
}

/// The levels that the vendor's processors are known to have: x86-64 psABI, section 3.1.1.
#[test]
fn processors_have_the_levels_they_are_known_for() {
    for (processor, known) in [(NEHALEM, 2), (HASWELL, 3), (SKYLAKE_X, 4)] {
        assert_eq!(level(&processor), known);
        for built_for in 1..=4 {
            assert_eq!(complaint(&processor, built_for).is_none(), built_for <= known, "{known} {built_for}");
        }
    }
}

#[test]
fn what_is_lacking_is_named_with_a_build_that_runs() {
    let words = complaint(&NEHALEM, 3).unwrap();
    let first = words.lines().next().unwrap();
    let lacking =
        first.strip_prefix("joulestep: this processor lacks what the program was built for: ").unwrap();
    let mut lacking: Vec<&str> = lacking.split(' ').collect();
    lacking.sort_unstable();
    assert_eq!(lacking, ["avx", "avx2", "bmi1", "bmi2", "f16c", "fma", "lzcnt", "movbe", "xsave"]);
    assert!(words.contains("target-cpu=x86-64-v2\"") && words.contains(TARGET), "{words}");
    let words = complaint(&HASWELL, 4).unwrap();
    assert!(words.contains(" avx512f") && words.contains("target-cpu=x86-64-v3\""), "{words}");
}

/// A processor has wide registers, and a system that does not keep them makes them useless.
#[test]
fn registers_that_the_system_does_not_keep_do_not_count() {
    assert_eq!(level(&Simulated { kept: 0b111, ..SKYLAKE_X }), 3);
    assert_eq!(level(&Simulated { kept: 0b011, ..HASWELL }), 2);
    // Without OSXSAVE nobody may ask.
    const SILENT: &[((u32, u32), [u32; 4])] = &[
        ((0, 0), [0xd, 0, 0, 0]),
        ((1, 0), [0x306c3, 0x100800, 0x7ffa_fbbf & !OSXSAVE, 0xbfeb_fbff]),
        ((7, 0), [0, 0x0000_27ab, 0, 0]),
        ((0x8000_0000, 0), [0x8000_0008, 0, 0, 0]),
        ((0x8000_0001, 0), [0, 0, 0x21, 0x2c10_0800]),
    ];
    assert_eq!(level(&Simulated { answers: SILENT, kept: 0b111 }), 2);
}

/// Leaves beyond the last one are not looked at, whatever they hold.
#[test]
fn leaves_that_are_not_there_do_not_count() {
    const SHORT: &[((u32, u32), [u32; 4])] =
        &[((0, 0), [1, 0, 0, 0]), ((1, 0), [0, 0, !0, !0]), ((7, 0), [!0; 4]), ((0x8000_0001, 0), [!0; 4])];
    let short = Simulated { answers: SHORT, kept: !0 };
    let has = |name: &str| FEATURES.iter().find(|f| f.name == name).unwrap().is_in(&short);
    assert!(has("avx") && has("fma") && !has("avx2") && !has("lzcnt"));
}

/// Whatever the compiler takes for granted in this build can be asked for.
#[test]
#[cfg(target_arch = "x86_64")]
fn everything_built_in_is_known() {
    let unknown: Vec<&str> = BUILT_IN
        .split(',')
        .filter(|name| !FEATURES.iter().any(|f| f.name == *name) && !["kl", "widekl"].contains(name))
        .collect();
    assert!(BUILT_IN.contains("sse2") && unknown.is_empty(), "{unknown:?}");
    assert_eq!(listed(BUILT_IN, "avx2"), cfg!(target_feature = "avx2"));
    assert_eq!(listed(BUILT_IN, "avx"), cfg!(target_feature = "avx"));
    assert_eq!(BUILT_FOR >= 3, cfg!(all(target_feature = "avx2", target_feature = "fma")));
    assert!(!listed("avx2,fma", "avx") && listed("avx2,fma", "fma") && listed("avx2,fma", "avx2"));
}

/// The standard library finds in this processor what we find (for what the build assumes it does not look).
#[test]
#[cfg(target_arch = "x86_64")]
fn this_processor_has_what_the_standard_library_finds() {
    macro_rules! same {
        ($($name:tt)*) => { $({
            let ours = FEATURES.iter().find(|f| f.name == $name).expect($name);
            assert_eq!(ours.is_in(&This), std::arch::is_x86_feature_detected!($name), "{}", $name);
        })* };
    }
    same!("sse" "sse2" "sse3" "ssse3" "sse4.1" "sse4.2" "sse4a" "avx" "avx2" "fma" "bmi1" "bmi2" "lzcnt" "popcnt");
    same!("movbe" "f16c" "aes" "pclmulqdq" "rdrand" "rdseed" "adx" "sha" "fxsr" "cmpxchg16b" "tbm" "gfni");
    same!("xsave" "xsaveopt" "xsavec" "xsaves" "vaes" "vpclmulqdq" "avx512f" "avx512bw" "avx512cd" "avx512dq");
    same!("avx512vl" "avx512ifma" "avx512vbmi" "avx512vbmi2" "avx512vnni" "avx512bitalg" "avx512vpopcntdq");
    assert!(!refused(&This, |feature| feature.built_in, |_| ()));
}
