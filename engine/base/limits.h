#pragma once
// Every number that bounds something, in one place: name with its unit, value, reason.
// A limit has a test just below, at, and above it.

#include <chrono>
#include <cstddef>
#include <cstdint>

namespace engine::base::limits {

// --- Documents
// A whole session of a shift is tens of kilobytes; ten megabytes leaves room for oximeter series.
inline constexpr std::size_t kBodyBytesMax = std::size_t{10} << 20;
// What the checker reads from a file or a stream: large Bundles are legitimate there.
inline constexpr std::size_t kCheckedBytesMax = std::size_t{64} << 20;
// FHIR nests at most a few dozen levels; 64 is twice the deepest published example.
inline constexpr std::size_t kJsonDepthMax = 64;
inline constexpr std::size_t kJsonArrayItemsMax = 100'000;
// FHIR string: at most 1,048,576 characters (R4 datatypes); four UTF-8 bytes each.
inline constexpr std::size_t kStringCharsMax = 1'048'576;
inline constexpr std::size_t kStringBytesMax = kStringCharsMax * 4;
// Longer number texts are no measurement; exact arithmetic keeps 38 digits (base/decimal.h).
inline constexpr std::size_t kNumberBytesMax = 128;
// Memory that one parsed document may take, as a multiple guard against amplification.
inline constexpr std::size_t kDocumentArenaBytesMax = std::size_t{1} << 30;

// --- Session documents
// Characters of a name, an identifier's system or value, a code: what is no free text. Each of them
// lands once for every resource that names it, so that a long one makes a bundle of any size.
inline constexpr std::size_t kShortTextCharsMax = 500;
// The bundle of one revision, and what is kept of where its values come from. Long sessions make
// one or two megabytes; what is larger no record server takes in one transaction.
inline constexpr std::size_t kBundleBytesMax = std::size_t{32} << 20;
inline constexpr std::size_t kLineageBytesMax = std::size_t{64} << 20;

// --- Lines of batch commands
inline constexpr std::size_t kBatchLineBytesMax = kCheckedBytesMax;

// --- Expressions (FHIRPath)
// The longest constraint of the R4 package is under 3 kB.
inline constexpr std::size_t kExpressionBytesMax = std::size_t{64} << 10;
// Nesting of the syntax tree; each level costs a stack frame of the evaluator. The deepest R4
// constraint has 40.
inline constexpr std::size_t kExpressionDepthMax = 400;
// Steps of one evaluation: items visited, comparisons made. About a second's work.
inline constexpr std::size_t kEvaluationStepsMax = 20'000'000;
// Text that is read, searched or compared costs a step for so many bytes; text that a regular
// expression goes through, for so many instructions of its program.
inline constexpr std::size_t kTextBytesOfStep = 16;
inline constexpr std::size_t kPatternWorkOfStep = 128;
// Compiled forms of a regular expression; one that needs more is refused.
inline constexpr std::size_t kPatternMemoryBytesMax = std::size_t{2} << 20;
// Items alive in one evaluation, all collections together.
inline constexpr std::size_t kCollectionItemsMax = 400'000;
// Texts, numbers and results of the evaluations between two resets of a workspace.
inline constexpr std::size_t kEvaluationBytesMax = std::size_t{256} << 20;
// Evaluations nested in one another through host functions, resolve and the like.
inline constexpr std::size_t kEvaluationNestingMax = 16;

// --- Units (UCUM)
// The longest codes in use have some forty characters.
inline constexpr std::size_t kUnitCodeBytesMax = 256;
// Parentheses in parentheses; each level costs a stack frame.
inline constexpr int kUnitDepthMax = 16;
// Of a dimension, a prime factor of a magnitude, or a written exponent: far past anything physical.
inline constexpr int kUnitExponentMax = 9'999;
// Numerator and denominator of a magnitude together: a dozen physical constants need under 1000.
inline constexpr std::size_t kUnitMagnitudeBitsMax = std::size_t{16} << 10;
// Rows of a unit table; UCUM 2.2 has 312.
inline constexpr std::size_t kUnitRowsMax = 4'096;
// A UCUM symbol with its prefix; the longest has 15 characters.
inline constexpr std::size_t kUnitSymbolBytesMax = 24;
// --- Maps (FHIR Mapping Language)
// Rules nested in rules; each level costs a stack frame of the parser, compiler and runner.
inline constexpr std::size_t kMapNestingMax = 32;
// Groups that call groups. A tree of questions is as deep as its document, at most kJsonDepthMax.
inline constexpr std::size_t kMapCallDepthMax = 100;
// Calls and nested rules under way at one time; each costs about a kilobyte of stack.
inline constexpr std::size_t kMapFramesMax = 1'000;
// Rules fired in one run. A session of a shift fires some thousands.
inline constexpr std::size_t kMapStepsMax = 2'000'000;
// Elements made in one run.
inline constexpr std::size_t kMapOutputItemsMax = 1'000'000;
// What a run looks at: items found and gone through, and steps of its expressions. Rules that find
// nothing fire nothing, and yet they take time. About a second's work.
inline constexpr std::size_t kMapWorkMax = 20'000'000;
// Compiled forms of groups in one set: one for each combination of input types that is called.
inline constexpr std::size_t kMapInstancesMax = 20'000;
// Rules of all those compiled forms together.
inline constexpr std::size_t kMapCompiledRulesMax = 200'000;
inline constexpr std::size_t kConceptMapRowsMax = 1'000'000;
// Problems listed for one set of maps; the first few are what gets fixed.
inline constexpr std::size_t kMapProblemsMax = 100;

// Issues of one session about codes without a translation; the last one counts the others.
inline constexpr std::size_t kUntranslatedIssuesMax = 50;

// --- Findings
// A report with more issues than this helps nobody; the last one says how many were left out.
inline constexpr std::size_t kIssuesMax = 1'000;
// Values of one resource that `check --explain` goes through; more is no longer read by a person.
inline constexpr std::size_t kExplainedValuesMax = 20;
// Profiles that ask for profiles to decide a slice; deeper questions are taken as answered.
inline constexpr std::size_t kSpeculationDepthMax = 24;
// Narratives nest tables in lists; nothing readable nests deeper.
inline constexpr std::size_t kNarrativeDepthMax = 256;
// Enough to see what is wrong with a narrative.
inline constexpr std::size_t kNarrativeFaultsMax = 20;

// --- HTTP server
// Each takes a socket and some tens of kilobytes; a hospital's gateways hold a few dozen.
inline constexpr std::size_t kConnectionsMax = 1'024;
// Descriptors for all but the connections of the port: the journal with its readers, the record
// servers' (up to 64 each), maps, keys and logs.
inline constexpr std::size_t kDescriptorsReserve = 256;
// Of one address: a gateway stands for a ward, and others must still get in.
inline constexpr std::size_t kConnectionsOfAddressMax = 256;
// Bytes of bodies that are being received or worked on, over all connections: some dozens of the
// largest. Beyond them senders are told to come back.
inline constexpr std::size_t kBodiesUnderWayBytesMax = std::size_t{256} << 20;
// Connections over the maximum that are told so at one time; the rest is closed without a word.
inline constexpr std::size_t kTurnedAwayMax = 64;
// Bearer tokens are the largest honest header; 16 KiB is what common servers take.
inline constexpr std::size_t kHttpHeaderBytesMax = 16 * 1024;
// Ten megabytes over a slow ward network take some twenty seconds.
inline constexpr std::chrono::milliseconds kRequestTimeout{30'000};
inline constexpr std::chrono::milliseconds kIdleTimeout{75'000};
// A new connection is made for a request: it begins within this time, a TLS handshake included.
inline constexpr std::chrono::milliseconds kFirstRequestTimeout{10'000};
inline constexpr std::chrono::milliseconds kWriteTimeout{30'000};
// A TLS handshake takes two round trips; who needs longer holds a connection without saying
// anything.
inline constexpr std::chrono::milliseconds kTlsHandshakeTimeout{5'000};
// A certificate with its chain, or a key, as PEM text: a few kilobytes.
inline constexpr std::size_t kPemBytesMax = std::size_t{256} << 10;
// A server out of descriptors waits this long before it looks again.
inline constexpr std::chrono::milliseconds kAcceptPause{100};
// How long a closing server still reads what a client was sending, so that the answer is not reset.
inline constexpr std::chrono::milliseconds kLingerTime{2'000};
// Proxies drop a silent stream after 30 to 60 seconds.
inline constexpr std::chrono::milliseconds kHeartbeat{15'000};
// What a slow reader of events may leave unread before it is cut off.
inline constexpr std::size_t kEventQueueBytesMax = std::size_t{1} << 20;

// --- Journal
// What one part of a record may hold: a body, or the bundle made of it, which is larger.
inline constexpr std::size_t kStoredBytesMax = std::size_t{256} << 20;
// A name, a hash, a reason, or what a person wrote, in the head of a record.
inline constexpr std::size_t kHeadTextBytesMax = 4'096;
// The lists there: all record servers, and all revisions that a translation was made of.
inline constexpr std::size_t kHeadListBytesMax = std::size_t{1} << 20;
// Changes that wait to be written; beyond them senders are told to come back.
inline constexpr std::size_t kJournalQueueMax = 4'096;
// Changes written by one flush of the disk.
inline constexpr std::size_t kJournalGroupMax = 512;
// How long a command waits for the engine's own writes, and the other way round.
inline constexpr std::chrono::milliseconds kJournalBusyWait{10'000};

// How long a journal whose last commit failed waits for something to write before it tries by
// itself.
inline constexpr std::chrono::seconds kJournalTryPause{3};
// While the journal cannot be written the log says so at most so often, and so much of why.
inline constexpr std::chrono::seconds kFailureLogPause{60};
inline constexpr std::size_t kLoggedCauseBytesMax = 300;
// Records whose bodies are removed, and data keys that are wrapped anew, in one transaction;
// senders wait while it runs.
inline constexpr std::size_t kRemovedAtOnceMax = 500;
inline constexpr std::size_t kRewrappedAtOnceMax = 500;
// How often an engine looks for bodies that are older than the site keeps them.
inline constexpr std::chrono::hours kRetentionLook{1};
// What is removed by itself is gone for good, so the clock is believed only as far as it ran on: a
// step of a wrong clock, or a start with one, must not make every body old. This is how far it may
// run on between two looks, which are hours apart unless the engine was off.
inline constexpr std::chrono::days kClockStepMax{35};
// The longest time that a site can say; whoever means longer says nothing, and nothing is removed.
inline constexpr int kRetentionYearsMax = 100;

// --- A journal in PostgreSQL, which several engines share
inline constexpr std::chrono::seconds kDatabaseConnectWait{5};
// Connections for reading, of one engine: so many to see what is next, and so many for all else.
inline constexpr std::size_t kDatabaseReadersMax = 4;
// How long the database may say nothing while it carries out a statement, a commit (which may wait
// for a standby), or work on a whole table. Then its connection is given up.
inline constexpr std::chrono::milliseconds kDatabaseStatementWait{30'000};
inline constexpr std::chrono::milliseconds kDatabaseCommitWait{60'000};
inline constexpr std::chrono::milliseconds kDatabaseTableWait{3'600'000};
// How long a commit whose answer was lost is asked after, before its fate is given as unknown.
inline constexpr std::chrono::milliseconds kDatabaseDoubtWait{30'000};
// How often an engine says that it lives, and after what silence the others share its work out.
inline constexpr std::chrono::milliseconds kEngineBeat{1'000};
inline constexpr std::chrono::seconds kEngineSilence{5};
// How long the database may take for what an engine says and asks then.
inline constexpr std::chrono::milliseconds kEngineBeatWait{3'000};
// After this silence what an engine had on its way is sent again by another one; its requests must
// have ended by then.
inline constexpr std::chrono::seconds kEngineLease{90};
static_assert(kEngineLease > kEngineSilence);
// What an engine took in it translates itself; another one only after this.
inline constexpr std::chrono::milliseconds kTranslateLease{10'000};
// News of other engines' writes are told at most so often.
inline constexpr std::chrono::milliseconds kNewsPause{20};
// Records copied from one journal to another in one transaction.
inline constexpr std::size_t kCopyGroupMax = 256;

// How long the engines of a shared journal may take to be restarted with other targets, one after
// another.
inline constexpr std::chrono::hours kRollingRestart{24};

// Records told at once to a reader of events that comes back.
inline constexpr std::size_t kEventsCatchUpMax = 1'000;
// Sessions shown by the plain page.
inline constexpr std::size_t kTrafficMax = 200;

// --- Intake
// Kept of a body that was refused; enough to see what it was.
inline constexpr std::size_t kRefusedBytesMax = std::size_t{64} << 10;
// Bodies being read, judged or written at one time; beyond them senders are told to come back.
inline constexpr std::size_t kIntakeMax = 512;
// Revisions of one session; a session of a whole day sent after every reading has some hundreds.
inline constexpr std::uint32_t kRevisionMax = 100'000;
// How long a sender is asked to wait when the engine is full or its disk fails.
inline constexpr std::chrono::seconds kSenderPause{2};

// --- Delivery
// Requests to one target at one time, unless the site says otherwise.
inline constexpr std::size_t kInFlightMax = 8;
// Finding a name's addresses; the connection with its TLS handshake.
inline constexpr std::chrono::milliseconds kResolveTimeout{5'000};
inline constexpr std::chrono::milliseconds kConnectTimeout{5'000};
// A transaction of a long session takes a busy record server some seconds.
inline constexpr std::chrono::milliseconds kAnswerTimeout{60'000};
// A kept connection that ends within this without a word had been closed when the message came.
inline constexpr std::chrono::milliseconds kStaleConnectionMax{1'000};
// All of a request, also when it is made again on a new connection.
inline constexpr std::chrono::milliseconds kRequestMax =
    kResolveTimeout + kConnectTimeout + kAnswerTimeout;
// An engine that has not told the others for so long that it lives begins no request: it would not
// have ended when the others take over, whose clocks run a little faster.
inline constexpr std::chrono::milliseconds kSendLease =
    kEngineLease - kRequestMax - std::chrono::seconds(5);
// Answers are small (references by entry); a larger one is not read on.
inline constexpr std::size_t kAnswerBytesMax = std::size_t{16} << 20;
// Interim answers (1xx) before the one that counts; proxies send one or two.
inline constexpr std::size_t kInterimAnswersMax = 16;
// A version as a server names it, an ETag; hashes in hexadecimal have 64 to 128 characters.
inline constexpr std::size_t kEntityTagBytesMax = 256;
// Kept of an answer that is no landing.
inline constexpr std::size_t kKeptAnswerBytesMax = std::size_t{64} << 10;
// Full-jitter back-off: a random part of base * 2^tries, at most the cap.
inline constexpr std::chrono::milliseconds kBackOffBase{500};
inline constexpr std::chrono::milliseconds kBackOffCap{60'000};
// Longer Retry-After wishes are cut to this, so that a typo of a server does not stop a ward's day.
inline constexpr std::chrono::seconds kRetryAfterMax{600};
// Tries that blame the message (500, 409) before it is held for a person.
inline constexpr std::uint32_t kCountedTriesMax = 8;
// A held session that time may help (unknown patient, failing server) is tried again after this,
// doubling up to the cap.
inline constexpr std::chrono::milliseconds kHeldPause{30'000};
inline constexpr std::chrono::milliseconds kHeldPauseCap{3'600'000};
// Requests to a target each second that a site may set; slower than the least is a pause.
inline constexpr double kRequestsPerSecondMin = 0.01;
inline constexpr double kRequestsPerSecondMax = 10'000;
// Requests to one target at one time that a site may set.
inline constexpr std::size_t kInFlightSetMax = 64;
// Records at the journal's end that a starting engine reads to know how its targets did last.
inline constexpr std::size_t kTargetLookBack = 10'000;
// Revisions that wait to be translated or sent, all targets together, unless the site says
// otherwise: weeks of a hospital. Beyond them senders are told to come back after this pause.
inline constexpr std::size_t kBacklogMax = 100'000;
inline constexpr std::size_t kBacklogSetMax = 10'000'000;
inline constexpr std::chrono::seconds kBacklogPause{30};
// Counting a backlog of so many takes a moment, so that it is done a second less often for each.
inline constexpr std::size_t kBacklogCountStep = 10'000;
// Notices of outcomes: records looked at in one go, how long a receiver may take, and how often the
// journal is told how far they have come. A crash repeats at most what was told since.
inline constexpr std::size_t kNoticeLook = 500;
inline constexpr std::chrono::milliseconds kNoticeTimeout{10'000};
inline constexpr std::chrono::milliseconds kNoticePause{10'000};
// What a person may write as who and why: a sentence or two; a report has another place.
inline constexpr std::size_t kPersonWordsBytesMax = 1'000;
// A courier whose attempt another engine was faster with looks again after this.
inline constexpr std::chrono::milliseconds kLostAttemptPause{50};
// How often the shell looks for work that no event announced.
inline constexpr std::chrono::milliseconds kTick{1'000};
// How often an engine looks whether the site's maps have changed.
inline constexpr std::chrono::seconds kMappingLook{2};
// What running requests and sends get to end in when the engine is told to stop.
inline constexpr std::chrono::milliseconds kDrainTime{10'000};
// An engine that has not ended by then, because its journal does not answer, is cut off.
inline constexpr std::chrono::milliseconds kEndTime = 6 * kDrainTime;

// --- The pages
// The site's ward file: patients with their orders, some 2 KiB each.
inline constexpr std::size_t kWardBytesMax = std::size_t{1} << 20;
inline constexpr std::size_t kWardPatientsMax = 500;
// What is told of one patient at once: the latest sessions, of so many journalled revisions.
inline constexpr std::size_t kHistorySessionsMax = 60;
inline constexpr std::size_t kHistoryRecordsMax = 600;
// Sessions that would make the answer larger are left out, and that is said.
inline constexpr std::size_t kHistoryBytesMax = std::size_t{8} << 20;

// Files that are tried out over those in force. A site has some dozens.
inline constexpr std::size_t kTriedFilesMax = 1'000;

// --- Who may: people, tokens, signing in
inline constexpr std::size_t kPeopleBytesMax = std::size_t{1} << 20;  // the file
// People and tokens together; a row takes some 200 bytes of the file.
inline constexpr std::size_t kPeopleMax = 4'000;
inline constexpr std::size_t kPersonNameBytesMax = 64;
inline constexpr std::size_t kPersonDisplayBytesMax = 128;
// Twelve characters that nobody guesses beat eight with a digit in them; a long sentence fits.
inline constexpr std::size_t kPasswordBytesMin = 12;
inline constexpr std::size_t kPasswordBytesMax = 1'024;
// A name and a password, JSON escapes and all. All that is read from somebody who is not signed in.
inline constexpr std::size_t kSignInBodyBytesMax = 8 * 1024;
// A long shift. Signing in again in the middle of one would cost entries.
inline constexpr std::chrono::seconds kSignInLifetime{12 * 3'600};
// A page that was left alone for so long is taken as left behind.
inline constexpr std::chrono::seconds kSignInIdle{2 * 3'600};
inline constexpr std::size_t kSignInsMax = 8'192;
// Phone, ward PC, office; the oldest ends when a person signs in once more.
inline constexpr std::size_t kSignInsOfOneMax = 8;
// Wrong passwords in one window: of a name from one address, of a name from anywhere, from one
// address (behind a gateway: of all its users).
inline constexpr std::chrono::seconds kTriesWindow{15 * 60};
inline constexpr std::uint32_t kTriesOfPairMax = 5;
inline constexpr std::uint32_t kTriesOfNameMax = 50;
inline constexpr std::uint32_t kTriesOfAddressMax = 100;
// Counters of each of the three; names that share one by chance share its bound.
inline constexpr std::size_t kTriesCounters = 8'192;
// Passwords waiting to be compared; whoever has the most of them makes room for others. One takes
// some 64 MiB and a tenth of a second, one at a time.
inline constexpr std::size_t kPasswordQueueMax = 32;
// Why somebody reads, in their words.
inline constexpr std::size_t kReadWhyBytesMax = 500;

static_assert(kSignInBodyBytesMax > 6 * (kPasswordBytesMax + kPersonNameBytesMax),
              "the longest password must fit, also when every character of it is escaped");
static_assert(kSignInIdle <= kSignInLifetime);

// --- The sandbox's record server
// Entries of one page of a search or history answer.
inline constexpr std::size_t kRecordServerPageDefault = 50;
inline constexpr std::size_t kRecordServerPageMax = 1'000;

static_assert(kBodyBytesMax < kStoredBytesMax, "the journal must hold what intake accepts");
static_assert(kBundleBytesMax < kStoredBytesMax, "and what is made of it");
static_assert(kLineageBytesMax < kStoredBytesMax);
static_assert(kSendLease > kEngineSilence,
              "a silent engine's requests must have ended before another sends the same");
// --- Published definitions
// The R4 core package is 42 MB in 4600 files unpacked, its largest file under 3 MB; national ones
// are smaller.
inline constexpr std::size_t kPackageBytesMax = std::size_t{128} << 20;  // the .tgz itself
inline constexpr std::size_t kPackageUnpackedBytesMax = std::size_t{512} << 20;
inline constexpr std::size_t kPackageFilesMax = 50'000;
inline constexpr std::size_t kPackageFileBytesMax = std::size_t{64} << 20;
// Text of definitions packs 10 to 40 times; past 200 times, and past the slack, an archive is made
// to fill memory.
inline constexpr std::size_t kPackageRatioMax = 200;
inline constexpr std::size_t kPackageRatioSlackBytes = std::size_t{1} << 20;
// Archives in tar format carry names of 255 bytes without extensions; twice that is not a name.
inline constexpr std::size_t kPackagePathBytesMax = 512;
// The largest published snapshot has some 500 elements; walking into many slices may multiply that.
inline constexpr std::size_t kShapeElementsMax = 20'000;
// Code systems of this size belong to a terminology service.
inline constexpr std::size_t kCodesMax = 500'000;
// A chain of base definitions, of imported value sets, of dependencies between packages.
inline constexpr std::size_t kDefinitionChainMax = 64;

static_assert(kPackageFileBytesMax <= kPackageUnpackedBytesMax);
static_assert(kPackageBytesMax <= kPackageUnpackedBytesMax);
static_assert(kBodyBytesMax <= kCheckedBytesMax,
              "what intake accepts, the checker must be able to read");
static_assert(kStringBytesMax < kBodyBytesMax);

}  // namespace engine::base::limits
