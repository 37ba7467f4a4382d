//! A program without std over every pure crate. It has its own panic handler: if anything below brought in std, there
//! would be two, and the build would fail. It is only built, never run.
#![no_std]
extern crate alloc;

use core::alloc::{GlobalAlloc, Layout};

struct Nothing;
// SAFETY: never hands out memory, which an allocator may always do.
unsafe impl GlobalAlloc for Nothing {
    unsafe fn alloc(&self, _: Layout) -> *mut u8 {
        core::ptr::null_mut()
    }
    unsafe fn dealloc(&self, _: *mut u8, _: Layout) {}
}
#[global_allocator]
static ALLOCATOR: Nothing = Nothing;

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}

// Each is linked, so that each is checked.
pub use {
    plumeline_airflow, plumeline_base, plumeline_carry, plumeline_detector, plumeline_measure, plumeline_procedure,
    plumewire,
};
