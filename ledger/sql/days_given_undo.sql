drop trigger said_by_somebody on ledger_lotopening;
drop function ledger_opening_said();
drop function ledger_give_days(uuid);
