//! The processor that the program was built for, and whether this one is such a processor.
//!
//! A build uses every instruction of its target processor (`target-cpu`), and a processor without one of them ends the
//! program with an illegal instruction. `cli/gate.rs` asks before that can happen; it includes this file and is
//! compiled apart for the plain architecture, so nothing but `core` is used here and nothing panics. The processor
//! itself is asked: `is_x86_feature_detected!` is a constant of the build for what the build assumes.

/// Exit code of a program that this processor cannot run.
pub const UNSUITED: u8 = 6;

/// The target triple that the program was built for.
pub const TARGET: &str = env!("JOULESTEP_TARGET");

/// What the build takes for granted, as the compiler names it, separated by commas.
pub const BUILT_IN: &str = env!("JOULESTEP_FEATURES");

/// An extension of the x86 instruction set, and where `cpuid` reports it: leaf, subleaf, register (0 to 3: eax, ebx,
/// ecx, edx) and bit (Intel 64 and IA-32 Architectures Software Developer's Manual, volume 2A, CPUID; AMD64
/// Architecture Programmer's Manual, volume 3, appendix E).
#[derive(Debug, PartialEq, Eq)]
pub struct Feature {
    /// Name as the compiler has it.
    pub name: &'static str,
    /// Whether the build takes it for granted.
    pub built_in: bool,
    /// The level of the x86-64 architecture that brings it, from 1; 0 for none.
    pub level: usize,
    place: (u32, u32, usize, u32),
    state: u64,
}

/// What a processor answers when it is asked.
pub trait Processor {
    /// Registers eax, ebx, ecx and edx after `cpuid`.
    fn cpuid(&self, leaf: u32, subleaf: u32) -> [u32; 4];
    /// Register XCR0: the registers that the operating system keeps for a program. Asked only where the processor says
    /// that it can tell.
    fn kept(&self) -> u64;
}

/// Bits of XCR0: halves of the 256-bit registers.
const YMM: u64 = 0b110;
/// Bits of XCR0: all of the 512-bit registers and their masks.
const ZMM: u64 = 0b1110_0110;
/// Leaf 1, ecx: the operating system uses XCR0.
const OSXSAVE: u32 = 1 << 27;

const fn feature(name: &'static str, level: usize, place: (u32, u32, usize, u32), state: u64) -> Feature {
    Feature { name, built_in: listed(BUILT_IN, name), level, place, state }
}

const fn listed(list: &str, name: &str) -> bool {
    let (list, name) = (list.as_bytes(), name.as_bytes());
    let mut start = 0;
    let mut k = 0;
    while k <= list.len() {
        if k == list.len() || list[k] == b',' {
            let mut same = k - start == name.len();
            let mut j = 0;
            while same && j < name.len() {
                same = list[start + j] == name[j];
                j += 1;
            }
            if same {
                return true;
            }
            start = k + 1;
        }
        k += 1;
    }
    false
}

/// Every extension that a stable compiler can be made to use, but for key locker, which nothing here comes near.
pub const FEATURES: [Feature; 54] = [
    feature("fxsr", 1, (1, 0, 3, 24), 0),
    feature("sse", 1, (1, 0, 3, 25), 0),
    feature("sse2", 1, (1, 0, 3, 26), 0),
    feature("sse3", 2, (1, 0, 2, 0), 0),
    feature("pclmulqdq", 0, (1, 0, 2, 1), 0),
    feature("ssse3", 2, (1, 0, 2, 9), 0),
    feature("fma", 3, (1, 0, 2, 12), YMM),
    feature("cmpxchg16b", 2, (1, 0, 2, 13), 0),
    feature("sse4.1", 2, (1, 0, 2, 19), 0),
    feature("sse4.2", 2, (1, 0, 2, 20), 0),
    feature("movbe", 3, (1, 0, 2, 22), 0),
    feature("popcnt", 2, (1, 0, 2, 23), 0),
    feature("aes", 0, (1, 0, 2, 25), 0),
    feature("xsave", 3, (1, 0, 2, 26), 0),
    feature("avx", 3, (1, 0, 2, 28), YMM),
    feature("f16c", 3, (1, 0, 2, 29), YMM),
    feature("rdrand", 0, (1, 0, 2, 30), 0),
    feature("bmi1", 3, (7, 0, 1, 3), 0),
    feature("avx2", 3, (7, 0, 1, 5), YMM),
    feature("bmi2", 3, (7, 0, 1, 8), 0),
    feature("avx512f", 4, (7, 0, 1, 16), ZMM),
    feature("avx512dq", 4, (7, 0, 1, 17), ZMM),
    feature("rdseed", 0, (7, 0, 1, 18), 0),
    feature("adx", 0, (7, 0, 1, 19), 0),
    feature("avx512ifma", 0, (7, 0, 1, 21), ZMM),
    feature("avx512cd", 4, (7, 0, 1, 28), ZMM),
    feature("sha", 0, (7, 0, 1, 29), 0),
    feature("avx512bw", 4, (7, 0, 1, 30), ZMM),
    feature("avx512vl", 4, (7, 0, 1, 31), ZMM),
    feature("avx512vbmi", 0, (7, 0, 2, 1), ZMM),
    feature("avx512vbmi2", 0, (7, 0, 2, 6), ZMM),
    feature("gfni", 0, (7, 0, 2, 8), 0),
    feature("vaes", 0, (7, 0, 2, 9), YMM),
    feature("vpclmulqdq", 0, (7, 0, 2, 10), YMM),
    feature("avx512vnni", 0, (7, 0, 2, 11), ZMM),
    feature("avx512bitalg", 0, (7, 0, 2, 12), ZMM),
    feature("avx512vpopcntdq", 0, (7, 0, 2, 14), ZMM),
    feature("avx512vp2intersect", 0, (7, 0, 3, 8), ZMM),
    feature("avx512fp16", 0, (7, 0, 3, 23), ZMM),
    feature("sha512", 0, (7, 1, 0, 0), YMM),
    feature("sm3", 0, (7, 1, 0, 1), YMM),
    feature("sm4", 0, (7, 1, 0, 2), YMM),
    feature("avxvnni", 0, (7, 1, 0, 4), YMM),
    feature("avx512bf16", 0, (7, 1, 0, 5), ZMM),
    feature("avxifma", 0, (7, 1, 0, 23), YMM),
    feature("avxvnniint8", 0, (7, 1, 3, 4), YMM),
    feature("avxneconvert", 0, (7, 1, 3, 5), YMM),
    feature("avxvnniint16", 0, (7, 1, 3, 10), YMM),
    feature("xsaveopt", 0, (13, 1, 0, 0), 0),
    feature("xsavec", 0, (13, 1, 0, 1), 0),
    feature("xsaves", 0, (13, 1, 0, 3), 0),
    feature("lzcnt", 3, (EXTENDED + 1, 0, 2, 5), 0),
    feature("sse4a", 0, (EXTENDED + 1, 0, 2, 6), 0),
    feature("tbm", 0, (EXTENDED + 1, 0, 2, 21), 0),
];

/// The first leaf of AMD's numbers.
const EXTENDED: u32 = 0x8000_0000;

impl Feature {
    /// Whether a processor has it, and the operating system keeps the registers that go with it.
    pub fn is_in(&self, processor: &impl Processor) -> bool {
        let (leaf, subleaf, register, bit) = self.place;
        // Beyond its last leaf a processor answers anything.
        let [last, ..] = processor.cpuid(leaf & EXTENDED, 0);
        if leaf > last {
            return false;
        }
        let answer = processor.cpuid(leaf, subleaf).get(register).copied().unwrap_or(0);
        let [_, _, report, _] = processor.cpuid(1, 0);
        let kept = if self.state != 0 && report & OSXSAVE != 0 { processor.kept() } else { 0 };
        (answer >> bit) & 1 == 1 && kept & self.state == self.state
    }
}

/// The levels of the x86-64 psABI (version 1.0, table 3.1), lowest first. (Of what a level holds, the compiler does not
/// tell lahf-sahf.)
const LEVELS: [&str; 4] = ["x86-64", "x86-64-v2", "x86-64-v3", "x86-64-v4"];

/// The highest level that the build takes for granted as a whole, from 1.
const BUILT_FOR: usize = {
    let mut level = LEVELS.len();
    let mut k = 0;
    while k < FEATURES.len() {
        if !FEATURES[k].built_in && FEATURES[k].level != 0 && FEATURES[k].level <= level {
            level = FEATURES[k].level - 1;
        }
        k += 1;
    }
    level
};

/// Whether the build takes more for granted than that level.
pub const MORE: bool = {
    let mut more = false;
    let mut k = 0;
    while k < FEATURES.len() {
        let within = FEATURES[k].level != 0 && FEATURES[k].level <= BUILT_FOR;
        more |= FEATURES[k].built_in && !within;
        k += 1;
    }
    more
};

/// The highest level that a processor has as a whole, from 1; 0 for none.
fn level(processor: &impl Processor) -> usize {
    let lacking = FEATURES.iter().filter(|f| f.level != 0 && !f.is_in(processor));
    lacking.map(|f| f.level - 1).min().unwrap_or(LEVELS.len())
}

/// The name of a level from 1; empty for none.
fn named(level: usize) -> &'static str {
    LEVELS.get(level.wrapping_sub(1)).copied().unwrap_or("")
}

/// The level that the build takes for granted as a whole; empty where the architecture is another.
pub fn baseline() -> &'static str {
    named(BUILT_FOR)
}

/// Says which of the features taken for granted a processor lacks, and what to do; false, without a word, where it has
/// them all.
pub fn refused(
    processor: &impl Processor,
    granted: impl Fn(&Feature) -> bool,
    mut say: impl FnMut(&str),
) -> bool {
    let mut refused = false;
    for feature in FEATURES.iter().filter(|f| granted(f) && !f.is_in(processor)) {
        say(if refused { " " } else { "joulestep: this processor lacks what the program was built for: " });
        say(feature.name);
        refused = true;
    }
    if refused {
        say("\n(It was built for ");
        say(TARGET);
        say(", ");
        say(baseline());
        say(if MORE { " and more" } else { "" });
        say(".) A build that runs here:\n  RUSTFLAGS=\"-C target-cpu=");
        say(named(level(processor)));
        say("\" cargo install --path .\n");
    }
    refused
}

/// The processor that runs this.
#[cfg(target_arch = "x86_64")]
pub struct This;

#[cfg(target_arch = "x86_64")]
impl Processor for This {
    fn cpuid(&self, leaf: u32, subleaf: u32) -> [u32; 4] {
        // (An unsafe function until Rust 1.94. Every x86-64 processor has the instruction.)
        #[allow(unused_unsafe)]
        let report = unsafe { core::arch::x86_64::__cpuid_count(leaf, subleaf) };
        [report.eax, report.ebx, report.ecx, report.edx]
    }

    fn kept(&self) -> u64 {
        let (low, high): (u32, u32);
        // SAFETY: reads a register, where OSXSAVE says that it can be read.
        unsafe {
            core::arch::asm!("xgetbv", in("ecx") 0, out("eax") low, out("edx") high,
                options(nomem, nostack, preserves_flags));
        }
        (u64::from(high) << 32) | u64::from(low)
    }
}

#[cfg(test)]
mod tests;
