//! Tells the library what it is built for; the compiler has no constants for it.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    for (name, variable) in
        [("JOULESTEP_TARGET", "TARGET"), ("JOULESTEP_FEATURES", "CARGO_CFG_TARGET_FEATURE")]
    {
        println!("cargo::rustc-env={name}={}", std::env::var(variable).unwrap_or_default());
    }
}
