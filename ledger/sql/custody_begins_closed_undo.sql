drop trigger begins_closed on ledger_custody;
drop function ledger_custody_begins_closed();
