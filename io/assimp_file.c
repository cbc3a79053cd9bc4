#include "assimp_file.h"

#include "grow.h"
#include "objects.h"
#include "ply.h"
#include "polygons.h"

#include <assimp/cimport.h>
#include <assimp/config.h>
#include <assimp/postprocess.h>
#include <assimp/scene.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

/// Nodes may stand this deep in each other.
static const int most_depth = 1000;

bool rlv_assimp_knows(const char* extension)
{
    char dotted[32];
    int length = snprintf(dotted, sizeof dotted, ".%s", extension);
    return length > 1 && (size_t)length < sizeof dotted && aiIsExtensionSupported(dotted) == AI_TRUE;
}

// ---- in the process of its own --------------------------------------------------------------------------------------

/// A scene on its way to one mesh.
typedef struct gathering
{
    rlv_reading* reading;
    const struct aiScene* scene;
    size_t vertex_count, position_room;
    double* position;
    size_t colour_room;
    uint8_t* colour; ///< NULL where no part has one
    bool coloured;
    rlv_polygons polygons;
    size_t object_room;
    uint32_t* object; ///< of each face
    rlv_objects objects;
    rlv_box box;
} gathering;

/// Row-major, the last row left out.
typedef struct placing
{
    double m[12];
} placing;

static placing placing_of(const struct aiMatrix4x4* a)
{
    return (placing){{(double)a->a1, (double)a->a2, (double)a->a3, (double)a->a4, (double)a->b1, (double)a->b2,
                      (double)a->b3, (double)a->b4, (double)a->c1, (double)a->c2, (double)a->c3, (double)a->c4}};
}

static placing placing_after(const placing* outer, const placing* inner)
{
    placing both;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 4; j++)
        {
            double sum = j == 3 ? outer->m[4 * i + 3] : 0.0;
            for (int k = 0; k < 3; k++)
                sum += outer->m[4 * i + k] * inner->m[4 * k + j];
            both.m[4 * i + j] = sum;
        }
    return both;
}

/// Whether it mirrors: then faces must be wound the other way.
static bool mirrors(const placing* p)
{
    const double* m = p->m;
    return m[0] * (m[5] * m[10] - m[6] * m[9]) - m[1] * (m[4] * m[10] - m[6] * m[8]) +
               m[2] * (m[4] * m[9] - m[5] * m[8]) <
           0.0;
}

static rlv_status no_memory(const rlv_reading* reading)
{
    return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs, or thin the mesh out",
                    "no memory for the mesh");
}

static uint8_t byte_of(float share)
{
    return (uint8_t)(share > 0.0F ? share < 1.0F ? share * 255.0F + 0.5F : 255.0F : 0.0F);
}

static rlv_status add_vertices(gathering* g, const struct aiMesh* part, const placing* place)
{
    const double reach = RLV_REACH_MM / g->reading->unit_mm;
    size_t count = g->vertex_count + part->mNumVertices;
    if (!rlv_grow(&g->position, &g->position_room, 3 * count, sizeof *g->position) ||
        (g->coloured && !rlv_grow(&g->colour, &g->colour_room, 3 * count, sizeof *g->colour)))
        return no_memory(g->reading);
    for (size_t v = 0; v < part->mNumVertices; v++)
    {
        const double from[3] = {(double)part->mVertices[v].x, (double)part->mVertices[v].y,
                                (double)part->mVertices[v].z};
        double* at = g->position + 3 * (g->vertex_count + v);
        for (int i = 0; i < 3; i++)
        {
            const double* row = place->m + 4 * i;
            at[i] = row[0] * from[0] + row[1] * from[1] + row[2] * from[2] + row[3];
            if (!rlv_within(at[i], reach))
                return rlv_refuse_item(g->reading, "vertex", g->vertex_count + v, "mend or export the mesh again",
                                       "a coordinate is %g, which is none", at[i]);
        }
        rlv_box_add(&g->box, at);
        if (!g->coloured)
            continue;
        const struct aiColor4D* has = part->mColors[0] != NULL ? part->mColors[0] + v : NULL;
        uint8_t* colour = g->colour + 3 * (g->vertex_count + v);
        colour[0] = has != NULL ? byte_of(has->r) : 255;
        colour[1] = has != NULL ? byte_of(has->g) : 255;
        colour[2] = has != NULL ? byte_of(has->b) : 255;
    }
    return RLV_DONE;
}

static rlv_status add_faces(gathering* g, const struct aiMesh* part, bool mirrored, uint32_t object)
{
    for (size_t f = 0; f < part->mNumFaces; f++)
    {
        const struct aiFace* face = part->mFaces + f;
        if (face->mNumIndices < 3)
            continue; // a point or a line, which have no surface
        if (!rlv_polygons_room(&g->polygons, face->mNumIndices) ||
            !rlv_grow(&g->object, &g->object_room, g->polygons.face_count + 1, sizeof *g->object))
            return no_memory(g->reading);
        for (size_t i = 0; i < face->mNumIndices; i++)
        {
            size_t corner = face->mIndices[mirrored ? face->mNumIndices - 1 - i : i];
            if (corner >= part->mNumVertices || g->vertex_count + corner >= UINT32_MAX)
                return rlv_refuse_item(g->reading, "face", f, "export the mesh again",
                                       "corner %zu is none of the %u vertices", corner, part->mNumVertices);
            g->polygons.corner[g->polygons.corner_count + i] = (uint32_t)(g->vertex_count + corner);
        }
        g->object[g->polygons.face_count] = object;
        if (!rlv_polygons_close(&g->polygons, face->mNumIndices))
            return no_memory(g->reading);
    }
    return RLV_DONE;
}

static rlv_status add_node(gathering* g, const struct aiNode* node, const placing* outer, int depth)
{
    placing inner = placing_of(&node->mTransformation), place = placing_after(outer, &inner);
    rlv_status status = RLV_DONE;
    if (depth > most_depth)
        return rlv_refuse(g->reading, "export the mesh again", "parts stand more than %d deep in each other",
                          most_depth);
    for (size_t i = 0; i < node->mNumMeshes && status == RLV_DONE; i++)
    {
        const struct aiMesh* part = g->scene->mMeshes[node->mMeshes[i]];
        const struct aiString* name = node->mName.length > 0 ? &node->mName : &part->mName;
        uint32_t object = name->length > 0 ? rlv_objects_number(&g->objects, name->data, name->length)
                                           : rlv_objects_number(&g->objects, "unnamed", 7);
        if (object == UINT32_MAX)
            return no_memory(g->reading);
        status = add_vertices(g, part, &place);
        if (status == RLV_DONE)
            status = add_faces(g, part, mirrors(&place), object);
        g->vertex_count += part->mNumVertices;
    }
    for (size_t i = 0; i < node->mNumChildren && status == RLV_DONE; i++)
        status = add_node(g, node->mChildren[i], &place, depth + 1);
    return status;
}

static rlv_status make_mesh(gathering* g, rlv_mesh* mesh)
{
    size_t bad = 0;
    if (g->polygons.triangle_count == 0)
        return rlv_refuse(g->reading, "export the mesh again, with its surface", "the file holds no faces");
    rlv_status status =
        rlv_mesh_reserve(mesh, g->vertex_count, g->polygons.triangle_count, g->coloured, true, g->reading->error);
    if (status != RLV_DONE)
        return rlv_reading_place_error(g->reading, status);
    rlv_frame frame = rlv_frame_choose(&g->box, g->reading->unit_mm);
    mesh->origin_mm = rlv_vec3_of(frame.origin_mm[0], frame.origin_mm[1], frame.origin_mm[2]);
    for (size_t v = 0; v < g->vertex_count; v++)
        rlv_frame_place(&frame, g->position + 3 * v, mesh->position_mm + 3 * v);
    if (g->coloured)
        memcpy(mesh->colour, g->colour, 3 * g->vertex_count);
    if (!rlv_polygons_cut(&g->polygons, mesh->position_mm, mesh->corner, mesh->object, &bad))
        return bad == SIZE_MAX ? no_memory(g->reading)
                               : rlv_refuse_item(g->reading, "face", bad, "cut it into triangles first",
                                                 "not convex, and with more than %d corners", RLV_MOST_CORNERS);
    for (size_t t = 0; t < mesh->triangle_count; t++)
        mesh->object[t] = g->object[mesh->object[t]];
    rlv_objects_give(&g->objects, mesh);
    return RLV_DONE;
}

/// Assimp drops faces whose corners are out of range, and only says so in its log.
static void note_dropped(const char* line, char* user)
{
    bool* dropped = (bool*)user;
    *dropped |= strstr(line, "out-of-range") != NULL || strstr(line, "out of range") != NULL;
}

static const struct aiScene* import(const char* path, bool* dropped)
{
    struct aiPropertyStore* wishes = aiCreatePropertyStore();
    struct aiLogStream log = {note_dropped, (char*)dropped};
    if (wishes == NULL)
        return NULL;
    aiAttachLogStream(&log);
    aiSetImportPropertyInteger(wishes, AI_CONFIG_IMPORT_FBX_READ_ANIMATIONS, 0);
    const struct aiScene* scene = aiImportFileExWithProperties(path, 0, NULL, wishes);
    aiReleasePropertyStore(wishes);
    return scene;
}

/// In COLLADA the root has no place of its own: there Assimp puts a turn of the axes and the unit, which we are told.
static bool is_collada(const char* path)
{
    const char* dot = strrchr(path, '.');
    return dot != NULL && (strcasecmp(dot, ".dae") == 0 || strcasecmp(dot, ".zae") == 0);
}

static rlv_status import_mesh(rlv_mesh* mesh, rlv_reading* reading)
{
    static const placing stay = {{1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0}};
    bool dropped = false;
    gathering g = {.reading = reading, .scene = import(reading->path, &dropped), .box = rlv_box_empty()};
    if (g.scene == NULL)
        return rlv_refuse(reading, "export the mesh again, best as binary PLY", "cannot be read: %.300s",
                          aiGetErrorString());
    if (dropped)
        return rlv_refuse(reading, "export the mesh again", "faces have corners that are out of range");
    for (size_t i = 0; i < g.scene->mNumMeshes; i++)
        g.coloured |= g.scene->mMeshes[i]->mColors[0] != NULL;
    struct aiNode* root = g.scene->mRootNode;
    if (root != NULL && is_collada(reading->path))
        aiIdentityMatrix4(&root->mTransformation);
    rlv_status status = root != NULL ? add_node(&g, root, &stay, 0) : RLV_DONE;
    return status == RLV_DONE ? make_mesh(&g, mesh) : status; // the process ends: nothing is worth freeing
}

/// What the process leaves in the shared memory ahead of the mesh.
typedef struct message
{
    rlv_error error;
    bool whole; ///< the mesh follows, as PLY, and then RLV_READING_PADDING zeros
} message;

static bool write_answer(const rlv_mesh* mesh, FILE* stream)
{
    static const uint8_t padding[RLV_READING_PADDING];
    return fseek(stream, sizeof(message), SEEK_SET) == 0 && rlv_ply_write(mesh, stream) &&
           fwrite(padding, 1, sizeof padding, stream) == sizeof padding && fflush(stream) == 0;
}

_Noreturn static void work_apart(rlv_reading* reading, int memory)
{
    // Time for any honest file: a minute, and ten seconds for each megabyte.
    struct rlimit time = {60 + 10 * (reading->size >> 20), 60 + 10 * (reading->size >> 20)}, no_core = {0, 0};
    setrlimit(RLIMIT_CPU, &time);
    setrlimit(RLIMIT_CORE, &no_core);
    static const int ends[] = {SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGABRT, SIGXCPU, SIGTERM, SIGINT};
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++)
        signal(ends[i], SIG_DFL); // what the caller does at such an end is not to be done twice
    int nowhere = open("/dev/null", O_RDWR);
    for (int i = 0; i < 3 && nowhere >= 0; i++)
        dup2(nowhere, i); // a library call never prints
    message answer = {0};
    rlv_mesh mesh = {0};
    reading->error = &answer.error;
    if (import_mesh(&mesh, reading) == RLV_DONE)
    {
        FILE* stream = fdopen(memory, "r+b");
        answer.whole = stream != NULL && write_answer(&mesh, stream);
        if (!answer.whole)
            no_memory(reading);
    }
    bool written = pwrite(memory, &answer, sizeof answer, 0) == (ssize_t)sizeof answer;
    _exit(written ? 0 : 1);
}

// ---- in the caller's process ----------------------------------------------------------------------------------------

static rlv_status refuse_broken(const rlv_reading* reading)
{
    return rlv_refuse(reading, "export the mesh again, best as binary PLY",
                      "its reader broke down or did not come to an end: the file is damaged");
}

/// Take the answer apart: `data` is the shared memory, mapped.
static rlv_status read_answer(rlv_mesh* mesh, const rlv_reading* reading, uint8_t* data, size_t size)
{
    message answer;
    memcpy(&answer, data, sizeof answer);
    if (answer.error.status != RLV_DONE)
    {
        if (reading->error != NULL)
            *reading->error = answer.error;
        return answer.error.status;
    }
    if (!answer.whole || size < sizeof answer + RLV_READING_PADDING)
        return refuse_broken(reading);
    rlv_reading inner = *reading;
    inner.data = data + sizeof answer;
    inner.size = size - sizeof answer - RLV_READING_PADDING;
    inner.unit_mm = 1.0;
    bool split;
    return rlv_ply_read(mesh, &inner, &split);
}

static rlv_status await_answer(rlv_mesh* mesh, const rlv_reading* reading, pid_t child, int memory)
{
    int outcome = 0;
    pid_t ended;
    do
        ended = waitpid(child, &outcome, 0);
    while (ended < 0 && errno == EINTR);
    // Where the caller ignores its children's ends, the outcome is lost, but the answer is there.
    off_t size = lseek(memory, 0, SEEK_END);
    if ((ended == child && (!WIFEXITED(outcome) || WEXITSTATUS(outcome) != 0)) || size < (off_t)sizeof(message))
        return refuse_broken(reading);
    uint8_t* data = mmap(NULL, (size_t)size, PROT_READ | PROT_WRITE, MAP_PRIVATE, memory, 0);
    if (data == MAP_FAILED)
        return no_memory(reading);
    rlv_status status = read_answer(mesh, reading, data, (size_t)size);
    munmap(data, (size_t)size);
    return status;
}

static void do_nothing(void* context, size_t block)
{
    (void)context;
    (void)block;
}

rlv_status rlv_assimp_read(rlv_mesh* mesh, rlv_reading* reading)
{
    rlv_reading_run(reading, "read mesh", 0, do_nothing, NULL); // the digest
    int memory = memfd_create("mesh", MFD_CLOEXEC);
    pid_t child = memory >= 0 ? fork() : -1;
    if (child == 0)
        work_apart(reading, memory);
    rlv_status status;
    if (child < 0)
        status = rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs",
                          "no process to read the file in: %s", strerror(errno));
    else
        status = await_answer(mesh, reading, child, memory);
    if (memory >= 0)
        close(memory);
    return status;
}
