alter table ledger_recallanswer drop constraint answer_adds_up;
