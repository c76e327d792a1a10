//! `navassay`: how far off are the numbers of a hip navigation measurement, why, and can it be shown.

use std::process::ExitCode;

fn main() -> ExitCode {
    if !can_run_here() {
        eprintln!(
            "this navassay was built for processors with AVX2, which this one is without; \
             `RUSTFLAGS= cargo install --path .` builds one that runs here, with the same results"
        );
        return ExitCode::from(2);
    }
    navassay::cli::main()
}

/// Whether the processor has the vectors that the program was built for.
#[cfg(all(target_arch = "x86_64", target_feature = "avx2"))]
fn can_run_here() -> bool {
    use std::arch::x86_64::{__cpuid, __cpuid_count};
    const AVX2: u32 = 1 << 5;
    __cpuid(0).eax >= 7 && __cpuid_count(7, 0).ebx & AVX2 != 0
}

#[cfg(not(all(target_arch = "x86_64", target_feature = "avx2")))]
fn can_run_here() -> bool {
    true
}
