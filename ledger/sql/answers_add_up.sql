-- What is on hold is a part of what is within reach, and what came back of what was sold, wherever
-- a maker tells figures of its own: those of its records stand for what it leaves out. Answers of
-- before are left as they were told.
alter table ledger_recallanswer add constraint answer_adds_up check (
  corrected = '{}'::jsonb
  or (coalesce(corrected #>> '{held,grams}', tally #>> '{held,grams}')::numeric
      <= coalesce(corrected #>> '{in_reach,grams}', tally #>> '{in_reach,grams}')::numeric
      and coalesce(corrected #>> '{held,units}', tally #>> '{held,units}')::numeric
      <= coalesce(corrected #>> '{in_reach,units}', tally #>> '{in_reach,units}')::numeric
      and coalesce(corrected #>> '{returned,grams}', tally #>> '{returned,grams}')::numeric
      <= coalesce(corrected #>> '{sold,grams}', tally #>> '{sold,grams}')::numeric
      and coalesce(corrected #>> '{returned,units}', tally #>> '{returned,units}')::numeric
      <= coalesce(corrected #>> '{sold,units}', tally #>> '{sold,units}')::numeric)) not valid;
