//! Damage to bytes and to texts.

/// Numbers that follow from a seed alone (SplitMix64: Steele, Lea & Flood, OOPSLA 2014).
pub struct Random(u64);

impl Random {
    /// Of a case of a target.
    pub fn of(seed: u64, case: u64, target: &str) -> Self {
        let name = target
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x100_0000_01b3));
        let mut out =
            Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ case.wrapping_mul(0xd1b5_4a32_d192_ed03) ^ name);
        out.next();
        out
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Below `n`; 0 where there is nothing below.
    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n.max(1) as u64) as usize
    }

    /// One of some.
    pub fn one<'a, T: ?Sized>(&mut self, of: &[&'a T]) -> &'a T {
        of[self.below(of.len())]
    }
}

/// What stands where it should not.
const TOKENS: &[&str] = &[
    "0",
    "-0",
    "-1",
    "1",
    "0.0",
    "1e308",
    "-1e308",
    "1e-320",
    "1e400",
    "nan",
    "inf",
    "-inf",
    "9223372036854775807",
    "-9223372036854775808",
    "18446744073709551616",
    "0x7fffffffffffffff",
    "1_000",
    "\"\"",
    "\"0 V\"",
    "\"-1 V\"",
    "\"1e300 V\"",
    "\"1e-300 s\"",
    "\"1 us\"",
    "\"0 s\"",
    "\"nan s\"",
    "\"inf V\"",
    "\"-300 degC\"",
    "\"1e30 K/W\"",
    "\"1 ohm\"",
    "\"1 pF\"",
    "\"gnd\"",
    "\"0\"",
    "\"a.b\"",
    "\"../x\"",
    "\"/dev/zero\"",
    "\"x.toml\"",
    "\"µΩ\"",
    "\"\\u0000\"",
    "\"\\u202e\"",
    "true",
    "false",
    "[]",
    "[[]]",
    "[0]",
    "[[0, 0], [0, 0]]",
    "{}",
    "1979-05-27",
    "'''",
    "\"\"\"",
    "#",
    "=",
    "[[",
    "]]",
    "[",
    "]",
    "\n",
    "\r\n",
    "\t",
    "\u{feff}",
    "\u{0}",
    "😀",
    "include = [\"x.toml\"]\n",
    "format = 2\n",
    "format = 2\n",
    "[[component]]\n",
    "[[limit]]\n",
    "[thermal]\n",
    "[steps]\n",
];

/// A damaged text: bytes that need not be UTF-8 any more.
pub fn text(base: &[u8], others: &[Vec<u8>], random: &mut Random) -> Vec<u8> {
    let mut out = base.to_vec();
    for _ in 0..=random.below(4) {
        match random.below(12) {
            0 => bytes(&mut out, random),
            1 | 2 => token(&mut out, random),
            3 => lines(&mut out, random, |lines, a, _| drop(lines.remove(a))),
            4 => lines(&mut out, random, |lines, a, b| lines.insert(b, lines[a].clone())),
            5 => lines(&mut out, random, |lines, a, b| lines.swap(a, b)),
            6 => splice(&mut out, others, random),
            7 => value(&mut out, random),
            8 => swapped(&mut out, random),
            _ => number(&mut out, random),
        }
    }
    out
}

/// A damaged binary file.
pub fn binary(base: &[u8], random: &mut Random) -> Vec<u8> {
    let mut out = base.to_vec();
    for _ in 0..=random.below(3) {
        bytes(&mut out, random);
    }
    out
}

fn bytes(out: &mut Vec<u8>, random: &mut Random) {
    let n = out.len();
    let at = random.below(n);
    match random.below(8) {
        0 if n > 0 => out.truncate(at),
        1 => out.insert(at, random.below(256) as u8),
        2 if n > 0 => drop(out.remove(at)),
        3 if n > 8 => {
            let to = random.below(n - 8);
            let length = random.below(64).min(n - at).min(n - to);
            out.copy_within(at..at + length, to);
        }
        4 if n > 8 => {
            let numbers =
                [0, 1, 0x7fff_ffff, 0xffff_ffff, i64::MAX as u64, u64::MAX, n as u64, f64::NAN.to_bits(), 1];
            let number = numbers[random.below(numbers.len())].to_le_bytes();
            let width = [1, 2, 4, 8][random.below(4)];
            let at = at.min(n - 8);
            out[at..at + width].copy_from_slice(&number[..width]);
        }
        5 if n > 0 => {
            let end = (at + random.below(32)).min(n);
            out[at..end].fill([0, 0xff, b' '][random.below(3)]);
        }
        _ if n > 0 => out[at] ^= 1 << random.below(8),
        _ => {}
    }
}

fn token(out: &mut Vec<u8>, random: &mut Random) {
    let at = random.below(out.len() + 1);
    let word = random.one(TOKENS).bytes();
    drop(out.splice(at..at, word));
}

fn lines(out: &mut Vec<u8>, random: &mut Random, change: impl FnOnce(&mut Vec<Vec<u8>>, usize, usize)) {
    let mut all: Vec<Vec<u8>> = out.split_inclusive(|&b| b == b'\n').map(<[u8]>::to_vec).collect();
    if all.is_empty() {
        return;
    }
    let (a, b) = (random.below(all.len()), random.below(all.len()));
    change(&mut all, a, b);
    *out = all.concat();
}

/// Some lines of another file.
fn splice(out: &mut Vec<u8>, others: &[Vec<u8>], random: &mut Random) {
    let Some(other) = others.get(random.below(others.len())) else { return };
    let all: Vec<&[u8]> = other.split_inclusive(|&b| b == b'\n').collect();
    let from = random.below(all.len());
    let some = all[from..].iter().take(1 + random.below(12)).copied().collect::<Vec<_>>().concat();
    let ends: Vec<usize> = out.iter().enumerate().filter(|(_, b)| **b == b'\n').map(|(k, _)| k + 1).collect();
    let at = ends.get(random.below(ends.len())).copied().unwrap_or(0);
    drop(out.splice(at..at, some));
}

/// Where the values of keys stand.
fn values(out: &[u8]) -> Vec<(usize, usize)> {
    let mut all = Vec::new();
    let mut begin = 0;
    for line in out.split_inclusive(|&b| b == b'\n') {
        if let Some(k) = line.iter().position(|&b| b == b'=') {
            let end = line.iter().rposition(|b| !b.is_ascii_whitespace()).map_or(k, |e| e + 1);
            all.push((begin + k + 1, begin + end.max(k + 1)));
        }
        begin += line.len();
    }
    all
}

/// Another value for a key.
fn value(out: &mut Vec<u8>, random: &mut Random) {
    let all = values(out);
    if let Some(&(from, to)) = all.get(random.below(all.len())) {
        drop(out.splice(from..to, random.one(TOKENS).bytes()));
    }
}

/// The value of one key at another.
fn swapped(out: &mut Vec<u8>, random: &mut Random) {
    let all = values(out);
    let (a, b) = (random.below(all.len()), random.below(all.len()));
    if let (Some(&(from, to)), Some(&(here, there))) = (all.get(a), all.get(b)) {
        let taken = out[from..to].to_vec();
        drop(out.splice(here..there, taken));
    }
}

/// A number of another size, sign or kind.
fn number(out: &mut Vec<u8>, random: &mut Random) {
    let starts: Vec<usize> = (0..out.len())
        .filter(|&k| {
            out[k].is_ascii_digit() && (k == 0 || !out[k - 1].is_ascii_alphanumeric() && out[k - 1] != b'.')
        })
        .collect();
    let Some(&from) = starts.get(random.below(starts.len())) else { return };
    let length = out[from..].iter().take_while(|b| b.is_ascii_digit() || **b == b'.').count();
    let new = match random.below(7) {
        0 => "0".to_string(),
        1 => format!("-{}", random.below(100)),
        2 => format!("{}e{}", 1 + random.below(9), random.below(40) as i32 - 20),
        3 => format!("{}e{}", 1 + random.below(9), random.below(640) as i32 - 320),
        4 => random.below(1 << 40).to_string(),
        5 => random.one(&["nan", "inf", "-0", "1e999", "1.", ".5", "1__0"]).to_string(),
        _ => random.below(1000).to_string(),
    };
    drop(out.splice(from..from + length, new.into_bytes()));
}
