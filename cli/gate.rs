//! The first thing that the program does on Linux: it asks the processor whether it has what the build takes for
//! granted, and ends in words where it has not. Compiled apart by the build script of the program, for the plain
//! architecture and without a library: anything compiled with the rest may hold the very instructions that are asked
//! about, the start of the standard library included, so this runs among the constructors, before `main`.

#![no_std]

#[path = "src/processor.rs"]
#[allow(dead_code)]
mod processor;

// The C library is there before the constructors are called.
unsafe extern "C" {
    fn write(file: i32, text: *const u8, length: usize) -> isize;
    fn _exit(code: i32) -> !;
}

#[used]
#[unsafe(link_section = ".init_array.00001")]
static FIRST: extern "C" fn() = gate;

extern "C" fn gate() {
    // SAFETY: the text is as long as it says. Nothing is left to be done when it cannot be written.
    let say = |text: &str| unsafe {
        write(2, text.as_ptr(), text.len());
    };
    if processor::refused(&processor::This, |feature| feature.built_in, say) {
        // SAFETY: ends the program; nothing was begun.
        unsafe { _exit(i32::from(processor::UNSUITED)) }
    }
}
