-- What the role that serves requests may do. It owns nothing; what is not granted here is denied:
-- no DDL, no TRUNCATE, no UPDATE or DELETE of revisions, audit and feed. postgres.Migrate runs this
-- after each migration, with the name of the role in the place of statorbook_app.
GRANT USAGE ON SCHEMA public TO statorbook_app;
GRANT SELECT ON goose_db_version TO statorbook_app;

GRANT SELECT, UPDATE (revision, changed_at) ON catalogue_state TO statorbook_app;
GRANT SELECT, INSERT, UPDATE (title) ON institute TO statorbook_app;
GRANT SELECT, INSERT ON person, audit, change TO statorbook_app;

GRANT SELECT, INSERT, UPDATE (revision, state, modified_at) ON wire_size, insulation_class, insulating_material TO statorbook_app;
GRANT SELECT, INSERT ON wire_size_revision, insulation_class_revision, insulating_material_revision TO statorbook_app;

GRANT SELECT, INSERT, UPDATE (revision, state, institute_id, modified_at) ON family TO statorbook_app;
GRANT SELECT, INSERT ON family_revision, core, family_core, added_core TO statorbook_app;

GRANT SELECT, INSERT, UPDATE (revision, state, institute_id, family_id, core_id, poles, times_seen, modified_at) ON winding TO statorbook_app;
GRANT SELECT, INSERT ON winding_revision TO statorbook_app;

GRANT SELECT, INSERT, UPDATE, DELETE ON family_draft, winding_draft TO statorbook_app;

GRANT SELECT, INSERT, UPDATE (revoked_at, last_used_at) ON api_key TO statorbook_app;
GRANT SELECT, INSERT, DELETE ON idempotency TO statorbook_app;
GRANT SELECT, INSERT ON vetting, statement, late_proof, sighting TO statorbook_app;
GRANT SELECT, INSERT, UPDATE (retired_at) ON signing_key TO statorbook_app;
GRANT SELECT, INSERT, UPDATE (answered_at, answered_by, answer) ON problem_report TO statorbook_app;
