drop trigger check_answer on ledger_transfer;
drop function ledger_check_answer();
alter table ledger_transfer drop constraint ledger_transfer_answers_id_fk;
