// Under https a tablet keeps what it needs to start without a link. Where the certificate was only clicked through, the
// browser refuses; everything else works all the same.

navigator.serviceWorker?.register("/worker.js").catch(() => {});
