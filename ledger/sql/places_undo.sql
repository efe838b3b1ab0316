drop trigger begins_nowhere on ledger_custody;
drop function ledger_custody_begins_nowhere();
drop function ledger_put_lot() cascade;
drop function ledger_check_place() cascade;
drop function ledger_out_of_place(text, text, timestamptz);
