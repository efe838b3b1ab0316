-- Files that belong to lots, and the decisions that rest on them.

select walls.key('ledger_document', false);
-- A document goes with its lot: whoever has the lot or had it sees it, and may add to it. The
-- papers of a lot are open to whoever may claim some of it.
select walls.wall('ledger_document',
  format($$coop_id = %1$s and (%2$s or nullif(current_setting('app.maker', true), '') is not null
    and exists (select from ledger_share s where s.coop_id = %1$s
      and s.lot_id = ledger_document.lot_id and ledger_share_open(s)))$$, coop, held),
  format('coop_id = %s and %s and maker_id = %s', coop, held, maker))
  from (select walls.reads('app.coop'), walls.reads('app.maker')) r(coop, maker),
       lateral (select format('exists (select from ledger_custody c where c.coop_id = %s'
                              ' and c.maker_id = %s and c.lot_id = ledger_document.lot_id)',
                              coop, maker)) s(held);
select walls.link('ledger_document', 'maker_id', 'ledger_maker'),
       walls.link('ledger_document', 'lot_id', 'ledger_lot'),
       walls.append_only('ledger_document');
select walls.key('ledger_decisiondocument', true), walls.of_maker('ledger_decisiondocument'),
       walls.link('ledger_decisiondocument', 'maker_id', 'ledger_maker'),
       walls.link('ledger_decisiondocument', 'decision_id', 'ledger_decision', 'maker'),
       walls.link('ledger_decisiondocument', 'document_id', 'ledger_document'),
       walls.append_only('ledger_decisiondocument');
grant select on ledger_document to stillroom_ledger;

-- What is said of the bytes is true of them. They are packed already, so nothing tries again.
alter table ledger_document
  alter column content set storage external,
  add constraint document_is_its_digest
    check (sha256 = sha256(content) and size = octet_length(content)),
  add constraint document_begins_as_its_type check (case content_type
    when 'application/pdf' then substring(content from 1 for 5) = '%PDF-'
    when 'image/png' then substring(content from 1 for 8) = '\x89504e470d0a1a0a'
    when 'image/jpeg' then substring(content from 1 for 3) = '\xffd8ff'
    when 'image/webp' then substring(content from 1 for 4) = 'RIFF'
      and substring(content from 9 for 4) = 'WEBP'
    else false end);

-- A decision rests on documents of its own lot. A release rests on a certificate of analysis only
-- where the supplier is known, or the lot was made here, and a specification says what it must
-- agree with (ISO 22716 6.5.3, from memory).
create function ledger_check_basis() returns trigger language plpgsql as $$
declare
  rests record;
begin
  select x.decision, d.kind, l.supplier_id, l.made_in_id, l.material_id into rests
    from ledger_decision x
    join ledger_document d on d.coop_id = x.coop_id and d.id = new.document_id
      and d.lot_id = x.lot_id
    join ledger_lot l on l.coop_id = x.coop_id and l.id = x.lot_id
    where x.coop_id = new.coop_id and x.id = new.decision_id;
  if not found then
    raise exception 'A decision rests on documents of its own lot.'
      using errcode = '23514', constraint = 'decision_rests_on_own_lot';
  end if;
  if rests.decision = 'release' and rests.kind = 'coa' and (
      coalesce(rests.supplier_id, rests.made_in_id) is null
      or not exists (select from ledger_specification s where s.coop_id = new.coop_id
                       and s.maker_id = new.maker_id and s.material_id = rests.material_id)) then
    raise exception 'A certificate alone is no basis for a release.'
      using errcode = '23514', constraint = 'certificate_has_specification';
  end if;
  return new;
end $$;
create trigger check_basis before insert on ledger_decisiondocument
  for each row execute function ledger_check_basis();
