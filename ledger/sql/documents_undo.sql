-- The wall asks what is shared, by a function that goes before the table does.
drop policy wall on ledger_document;
drop function ledger_check_basis() cascade;
