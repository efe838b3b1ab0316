drop trigger opens_lot on ledger_lotopening;
drop function ledger_open_lot();
