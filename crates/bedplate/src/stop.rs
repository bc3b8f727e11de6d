//! Ctrl-C in a long work: what is done so far is still printed.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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
            runtime.spawn(async move {
                if tokio::signal::ctrl_c().await.is_ok() {
                    flag.store(true, Ordering::Relaxed);
                }
            });
        }
        Self { asked, _listening: runtime }
    }

    /// Whether Ctrl-C was pressed.
    pub(crate) fn asked(&self) -> bool {
        self.asked.load(Ordering::Relaxed)
    }
}
