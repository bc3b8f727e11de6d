//! Ctrl-C in a long work: what is done so far is still printed.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Waker};

/// Whether the user asked to stop.
pub(crate) struct Stop {
    asked: Arc<AtomicBool>,
    /// Listens for Ctrl-C as long as it lives; absent where the system gives no way to.
    _listening: Option<tokio::runtime::Runtime>,
}

impl Stop {
    /// Listens from now on.
    pub(crate) fn on_ctrl_c() -> Self {
        let asked = Arc::new(AtomicBool::new(false));
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().ok();
        if let Some(runtime) = &runtime {
            let flag = Arc::clone(&asked);
            // The listener is polled once here: a Ctrl-C from now on is heard, however late the task gets its turn.
            let mut pressed = Box::pin(tokio::signal::ctrl_c());
            let _entered = runtime.enter();
            let mut context = Context::from_waker(Waker::noop());
            if pressed.as_mut().poll(&mut context).is_pending() {
                runtime.spawn(async move {
                    if pressed.await.is_ok() {
                        flag.store(true, Ordering::Relaxed);
                    }
                });
            }
        }
        Self { asked, _listening: runtime }
    }

    /// Whether Ctrl-C was pressed.
    pub(crate) fn asked(&self) -> bool {
        self.asked.load(Ordering::Relaxed)
    }
}
